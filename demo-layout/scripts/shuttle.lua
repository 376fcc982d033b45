-- The railcar runs from quay 1 to the halt at the passing loop and back, all day.

task("shuttle", function()
    while true do
        send("Heron", "loop-1.b")
        wait(12)
        send("Heron", "quay-1.a")
        wait(20)
    end
end)
