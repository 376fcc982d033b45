-- One train after the other comes out of the hidden yard, calls at the halt and at quay 2, and goes back into the yard, on
-- whatever track is free by then. The railcar meets it at the loop.

local trains = { "Plover", "Dunlin", "Curlew" }
local yard = { "yard-4", "yard-5", "yard-1", "yard-2", "yard-3" }

-- After a restart a train may be so near to its next stop, for all that is known, that it cannot be sent there: it goes on to the
-- one after that.
local function call_at(train, place)
    local arrived, why = try_send(train, place)
    if not arrived then
        log(why)
    end
end

task("rotation", function()
    while true do
        for _, train in trains do
            call_at(train, "loop-2.a")
            wait(8)
            call_at(train, "quay-2.a")
            wait(15)
            call_at(train, next_free(yard))
            table.insert(yard, table.remove(yard, 1)) -- the next train looks at another track first
        end
    end
end)
