-- The railcar runs from quay 1 to the halt at the passing loop and back, all day.

task("shuttle", function()
    while true do
        send("Heron", "loop-1")
        wait(12)
        send("Heron", "quay-1")
        wait(20)
    end
end)
