-- An evening at Low Staithe, by the layout clock: an hour of it passes in six minutes.
--
-- It is run by itself, instead of the scripts beside this folder:
-- lineclear run demo-layout --script demo-layout/scripts/evening/evening.lua

timetable {
    begins = "18:00",
    pace = 12,
    pauses = { ["18:30"] = 60 }, -- time for tea: the clock stands for a minute
    trips = {
        { at = "18:02", train = "Heron",  to = "loop-1.b" },
        { at = "18:03", train = "Plover", to = "loop-2.a" }, -- they meet at the halt
        { at = "18:12", train = "Heron",  to = "quay-1.a" },
        { at = "18:16", train = "Plover", to = "quay-2.a" },
        { at = "18:32", train = "Heron",  to = "loop-1.b" },
        { at = "18:38", train = "Plover", to = "yard-1" },
        { at = "18:50", train = "Heron",  to = "quay-1.a" },
    },
}

on("clock", { clock = "18:00" }, function()
    say("good evening, and welcome to Low Staithe")
    switch("quay lamps", true)
end)

-- As long as somebody presses the button: `lineclear tell input "horn button" on`, and then `off`.
on("input_changed", { input = "horn button" }, function(event)
    switch("fog horn", event.on)
end)

on("arrived", { place = "quay-*" }, function(event)
    say(event.train, "is in at", clock().shows)
end)
