-- One train after the other comes out of the hidden yard, calls at the halt and at quay 2, and goes back into the yard, on
-- whatever track is free by then. The railcar meets it at the loop.

local trains = { "Plover", "Dunlin", "Curlew" }
local yard = { "yard-4", "yard-5", "yard-1", "yard-2", "yard-3" }

task("rotation", function()
    while true do
        for _, train in trains do
            send(train, "loop-2.a")
            wait(8)
            send(train, "quay-2.a")
            wait(15)
            send(train, next_free(yard))
            table.insert(yard, table.remove(yard, 1)) -- the next train looks at another track first
        end
    end
end)
