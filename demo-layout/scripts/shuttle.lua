-- The railcar runs from quay 1 to the halt at the passing loop and back, all day.
--
-- "loop-1.b" is the stopping point at end b of the loop's first track, "quay-1.a" the one before the buffers of quay 1.

-- After a restart the railcar may be so near to its next stop, for all that is known, that it cannot be sent there: then the
-- other one comes first.
local function call_at(place)
    local arrived, why = try_send("Heron", place)
    if not arrived then
        log(why)
    end
end

task("shuttle", function()
    while true do
        call_at("loop-1.b")
        wait(12)
        call_at("quay-1.a")
        wait(20)
    end
end)
