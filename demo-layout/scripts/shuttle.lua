-- The railcar runs from quay 1 to the halt at the passing loop and back, all day.
--
-- "loop-1.b" is the stopping point at end b of the loop's first track, "quay-1.a" the one before the buffers of quay 1.

task("shuttle", function()
    while true do
        send("Heron", "loop-1.b")
        wait(12)
        send("Heron", "quay-1.a")
        wait(20)
    end
end)
