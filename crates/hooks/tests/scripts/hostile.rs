//! Scripts that mean harm, or stumble: each is ended, its trains are held, and nobody else is concerned.

use std::time::{Duration, Instant};

use crate::host::{Host, PATIENCE, shown};
use hooks::Budget;

/// A script in good order, with a train of its own.
const GOOD: &str = r#"
task("good", function()
    send("Dunlin", "quay-2")
    while true do wait(10) say("still here") end
end)
"#;

/// Runs `body` in a task that has a train in its care, beside a script in good order. Tells what was said of the failure.
///
/// However it ends: it ends in time, the train in its care is held, the good script's train is not, and the good script
/// goes on.
fn ends(body: &str) -> String {
    let text = format!("task('bad', function()\ncare('Heron')\n{body}\nend)");
    let mut host = Host::new(&[("bad.lua", &text), ("good.lua", GOOD)]);
    let began = Instant::now();
    host.run_until(0.0);
    let took = began.elapsed();
    assert!(took < PATIENCE, "it took {took:?}");
    host.run_until(10.0);
    let failures: Vec<String> =
        host.said().into_iter().filter(|line| line.contains("bad.lua") && line.contains("ended: ")).collect();
    let [failure] = failures.as_slice() else { panic!("not one failure but {failures:?}") };
    let told = failure.strip_suffix("; in its care and now held: Heron").unwrap_or_else(|| panic!("{failure}"));
    let wishes = host.wishes();
    assert_eq!(wishes.len(), 2, "{wishes:?}");
    assert!(wishes[0].starts_with("hold Heron: bad.lua: "), "{wishes:?}");
    assert_eq!(wishes[1], "Dunlin to quay-2");
    host.asked.remove(0);
    host.accept();
    let facts = vec![host.arrived("Dunlin", "quay-2")];
    host.tell(facts);
    host.run_until(20.0);
    assert_eq!(host.said().last().map(String::as_str), Some("20 good.lua: still here"));
    told.to_owned()
}

const OUT_OF_TIME: &str = "task `bad` ended: used up its time without waiting; hint: is there a loop without `wait`?";
const OUT_OF_MEMORY: &str = "bad.lua: script ended: used up its memory; hint: does a list grow for ever?";

#[test]
fn an_endless_loop_is_ended() {
    assert_eq!(ends("while true do end"), format!("bad.lua:3: {OUT_OF_TIME}"));
}

#[test]
fn what_takes_long_between_few_checks_is_ended_by_the_clock() {
    let budget = Budget { checks: u64::MAX, time: Duration::from_millis(50), ..Budget::default() };
    let text =
        "task('bad', function()\nlocal text = string.rep('x', 1000000) while true do text:find('y', 1, true) end\nend)";
    let (mut host, errors) = Host::with_budget(&[("bad.lua", text)], &budget);
    assert_eq!(shown(&errors), Vec::<String>::new());
    host.run_until(0.0);
    assert_eq!(host.said(), [format!("bad.lua:2: {OUT_OF_TIME}")]);
}

#[test]
fn a_loop_that_catches_every_error_is_ended() {
    assert_eq!(
        ends("while true do\n pcall(function() while true do end end)\nend"),
        format!("bad.lua:4: {OUT_OF_TIME}")
    );
    let handler = "local function on_error() while true do end end\nwhile true do xpcall(error, on_error) end";
    assert_eq!(ends(handler), format!("bad.lua:3: {OUT_OF_TIME}"));
}

#[test]
fn a_spent_budget_cannot_be_swallowed_by_waiting_afterwards() {
    assert_eq!(ends("pcall(function() while true do end end)\nwait(5)"), format!("bad.lua:3: {OUT_OF_TIME}"));
}

#[test]
fn a_loop_in_a_coroutine_a_comparison_or_a_metamethod_is_ended() {
    for body in [
        "coroutine.wrap(function() while true do end end)()",
        "local co = coroutine.create(function() while true do coroutine.yield() end end) while true do coroutine.resume(co) end",
        "table.sort({ 3, 1, 2 }, function() while true do end end)",
        "local t = setmetatable({}, { __index = function() while true do end end }) local _ = t.x",
        "say(setmetatable({}, { __tostring = function() while true do end end }))",
        "string.gsub('aaaa', 'a', function() while true do end end)",
    ] {
        assert_eq!(ends(body), format!("bad.lua:3: {OUT_OF_TIME}"), "{body}");
    }
}

#[test]
fn a_search_that_never_ends_is_ended() {
    let body = "local text = string.rep('a', 100000)\nstring.find(text, string.rep('.-', 30) .. 'b')";
    assert_eq!(ends(body), format!("bad.lua:4: {OUT_OF_TIME}"));
    for search in ["text:find(text .. 'b', 1, true)", "string.split(text, text)", "local at = text:find(text)"] {
        let body = format!("local text = string.rep('a', 1000000)\n{search}");
        assert_eq!(
            ends(&body),
            "bad.lua:4: task `bad` ended: this search would take too long; hint: search in shorter text",
            "{search}"
        );
    }
}

#[test]
fn a_memory_bomb_ends_its_script() {
    assert_eq!(ends("local t = {} while true do t[#t + 1] = string.rep('x', 100000) .. #t end"), OUT_OF_MEMORY);
    assert_eq!(ends("local x = string.rep('x', 1000000000)"), OUT_OF_MEMORY);
    assert_eq!(ends("local x = table.create(10000000, 0)"), OUT_OF_MEMORY);
}

#[test]
fn what_a_script_throws_away_does_not_count_for_ever() {
    let text =
        "task('t', function() for n = 1, 100 do local x = string.rep('x', 3000000) .. n wait(1) end say('done') end)";
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(100.0);
    assert_eq!(host.said(), ["100 t.lua: done"]);
}

#[test]
fn a_memory_bomb_that_catches_every_error_runs_out_of_time() {
    let told = ends("while true do pcall(string.rep, 'x', 1000000000) end");
    assert_eq!(told, format!("bad.lua:3: {OUT_OF_TIME}"));
}

#[test]
fn a_function_that_calls_itself_for_ever_is_ended() {
    for body in ["local function deep() return 1 + deep() end deep()", "local function deep() return deep() end deep()"]
    {
        let what = "task `bad` ended: calls itself too deep; hint: does a function call itself for ever?";
        assert_eq!(ends(body), format!("bad.lua:3: {what}"));
    }
    let told = ends("local function deep() pcall(deep) deep() end deep()");
    assert!(told.contains("calls itself too deep") || told.contains("used up its time"), "{told}");
}

#[test]
fn tasks_without_end_are_bounded() {
    let told = ends("local function again() end\nwhile true do task('more', again) end");
    assert_eq!(told, "bad.lua:4: task `bad` ended: a script can have 256 tasks at a time");
}

#[test]
fn a_task_that_always_starts_the_next_does_not_keep_the_host_in_one_instant() {
    let text = "local function again() task('again', again) end\ntask('again', again)";
    let mut host = Host::new(&[("again.lua", text), ("good.lua", GOOD)]);
    host.run_until(1.0);
    assert_eq!(host.wishes(), ["Dunlin to quay-2"]);
}

#[test]
fn waits_for_no_time_take_some_time() {
    let text = "local n = 0\ntask('busy', function() while true do wait(0) n += 1 end end)\n\
                task('count', function() wait(10) say(n) end)";
    let mut host = Host::new(&[("busy.lua", text)]);
    host.run_until(10.0);
    let said = host.said();
    assert!(said == ["10 busy.lua: 99"] || said == ["10 busy.lua: 100"], "{said:?}");
}

#[test]
fn a_storm_of_requests_leaves_as_a_trickle() {
    let text = "task('storm', function() while true do try_send('Heron', 'quay-1') end end)";
    let mut host = Host::new(&[("storm.lua", text)]);
    let mut requests = 0;
    for tenth in 0..=100 {
        host.run_until(f64::from(tenth) / 10.0);
        while !host.asked.is_empty() {
            requests += 1;
            host.refuse("no");
        }
    }
    assert_eq!(requests, 20 + 100, "twenty at once, then ten a second for ten seconds");

    let text = "care('Heron') for n = 1, 200 do task('t', function() hold('Heron', 'no') end) end";
    let mut host = Host::new(&[("storm.lua", text)]);
    host.run_until(0.0);
    assert_eq!(host.wishes(), ["hold Heron: no"; 20]);
    let crowded = "64 requests are waiting to leave already; hint: wait between requests";
    assert!(host.said()[0].contains(crowded), "{:?}", host.said());
}

#[test]
fn a_flood_of_lines_is_cut_off() {
    let text = "task('t', function() for n = 1, 1000 do say(string.rep('x', 10000)) end end)";
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(0.0);
    let said = host.said();
    assert_eq!(said.len(), 51);
    assert_eq!(said[0].len(), "t.lua: ".len() + 500);
    assert_eq!(said[50], "t.lua: said too much; 950 lines left out");
}

#[test]
fn what_was_said_before_a_failure_comes_before_it() {
    let mut host = Host::new(&[("t.lua", "task('t', function() say('one') error('two') end)")]);
    host.run_until(0.0);
    assert_eq!(host.said(), ["t.lua: one", "t.lua:1: task `t` ended: two"]);
}

#[test]
fn an_error_in_a_hook_holds_the_trains_in_its_care_and_pauses_it_after_the_third() {
    let text = r#"
        care("Heron")
        on("arrived", function(event) say("one", event.train) end)
        on("arrived", function(event) say(event.train.name.length) end)
        task("own", function() send("Plover", "quay-1") end)
    "#;
    let mut host = Host::new(&[("h.lua", text)]);
    let failed = "h.lua:4: hook on `arrived` failed: asks for `length` of something that is nil; hint: is the name before it \
                  written right?";
    let held = "; in its care and now held: Heron";
    let paused = "; it failed three times in a minute and is called no more until the scripts are loaded anew";
    let expected = [
        (1.0, format!("{failed}{held}")),
        (40.0, format!("{failed}{held}")),
        (59.0, format!("{failed}{paused}{held}")),
    ];
    for (at, failure) in &expected {
        host.run_until(*at);
        host.notices.clear();
        let facts = vec![host.arrived("Dunlin", "quay-1")];
        host.tell(facts);
        assert_eq!(host.said(), [format!("{at} h.lua: one Dunlin"), format!("{at} {failure}")]);
    }
    host.notices.clear();
    let facts = vec![host.arrived("Dunlin", "quay-1")];
    host.tell(facts);
    assert_eq!(host.said(), ["59 h.lua: one Dunlin"], "the other hook goes on");
    let hold = format!("hold Heron: {}", failed.replace("h.lua:4", "h.lua"));
    assert_eq!(host.wishes(), ["Plover to quay-1", &hold, &hold, &hold]);
}

#[test]
fn a_hook_that_fails_now_and_then_goes_on() {
    let mut host = Host::new(&[("h.lua", "on('arrived', function() error('no') end)")]);
    for minute in 1..=5 {
        host.run_until(f64::from(minute) * 60.0);
        let facts = vec![host.arrived("Dunlin", "quay-1")];
        host.tell(facts);
    }
    assert_eq!(host.said().len(), 5);
    assert!(
        host.said().iter().all(|line| line.ends_with("h.lua:1: hook on `arrived` failed: no")),
        "{:?}",
        host.said()
    );
}

#[test]
fn a_hook_that_is_called_faster_than_it_finishes_is_paused() {
    let mut host = Host::new(&[("h.lua", "on('arrived', function() wait(100) end)")]);
    for _ in 0..40 {
        let facts = vec![host.arrived("Dunlin", "quay-1")];
        host.tell(facts);
    }
    let busy = "h.lua: hook on `arrived` failed: is still busy with 32 earlier events";
    let paused = "; it failed three times in a minute and is called no more until the scripts are loaded anew";
    assert_eq!(host.said(), [busy.to_owned(), busy.to_owned(), format!("{busy}{paused}")]);
}

#[test]
fn a_failure_tells_from_where_it_was_called() {
    let text = "local function couple()\n error('no hook')\nend\nlocal function shunt()\n couple()\n return 1\nend\n\
                task('t', function()\n shunt()\n say('never')\nend)";
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(0.0);
    assert_eq!(host.said(), ["t.lua:2: task `t` ended: no hook; called from line 5 in `shunt`, line 9"]);
}

#[test]
fn errors_of_every_kind_are_told_in_words() {
    let bad = |what: &str| format!("bad.lua:3: task `bad` ended: {what}");
    assert_eq!(ends("error('the signal lamp is broken')"), bad("the signal lamp is broken"));
    assert_eq!(
        ends("local nothing = nil nothing()"),
        bad("calls a function that does not exist; hint: is its name written right?")
    );
    assert_eq!(ends("error({ 1 })"), "bad.lua:3: task `bad` ended: failed with an error that is not text");
    let shy = "error(setmetatable({}, { __tostring = function() while true do end end }))";
    assert_eq!(ends(shy), format!("bad.lua:3: {OUT_OF_TIME}"));
    let silent = "error(setmetatable({}, { __tostring = function() error('no') end }))";
    assert_eq!(ends(silent), bad("no"));
    assert_eq!(
        ends("local p = 'quay-9' send('Heron', p)"),
        bad("no section or stopping point `quay-9`; hint: did you mean `quay-2`?")
    );
    assert_eq!(ends("send('Heron')"), bad("`send` wants the name of a section or stopping point here, not nothing"));
    assert_eq!(ends("wait('long')"), bad("`wait` wants seconds here, not string"));
    assert_eq!(ends("wait(-1)"), bad("`wait` cannot wait for -1 seconds"));
    assert_eq!(ends("wait(0 / 0)"), bad("`wait` cannot wait for NaN seconds"));
    assert_eq!(
        ends("wait_until(true)"),
        bad("`wait_until` takes a function that tells whether it is so, not a boolean")
    );
}

#[test]
fn giving_way_where_it_cannot_be_is_an_error() {
    let bad = |what: &str| format!("bad.lua:3: task `bad` ended: {what}");
    assert_eq!(
        ends("table.sort({ 2, 1 }, function() wait(1) end)"),
        bad("`wait` cannot wait in here; hint: call it in the task itself, not while sorting or searching")
    );
    assert_eq!(
        ends("coroutine.wrap(function() wait(1) end)()"),
        bad("`wait` cannot wait inside a coroutine of the script's own")
    );
    assert_eq!(
        ends("coroutine.yield()"),
        "bad.lua: task `bad` ended: gave way without saying for what; hint: use `wait` instead of `coroutine.yield`"
    );
    assert_eq!(
        ends("local ok = pcall(table.sort, { 2, 1 }, function() send('Heron', 'quay-1') end) coroutine.yield()"),
        "bad.lua: task `bad` ended: gave way without saying for what; hint: use `wait` instead of `coroutine.yield`"
    );
}

#[test]
fn a_list_of_names_that_answers_by_itself_is_only_read() {
    let text = r#"
        local odd = setmetatable({}, {
            __index = function(_, key) say("asked for", key) return "quay-1" end,
            __iter = function() say("asked for all") return next, {} end,
            __len = function() return 1 end,
        })
        say(pcall(free, odd))
        say(pcall(on, "arrived", odd, print))
    "#;
    let host = Host::new(&[("t.lua", text)]);
    let wants = "`free` wants the name of a place or a list of such names here, not table";
    assert_eq!(host.said(), [format!("t.lua: false {wants}"), "t.lua: true".to_owned()]);
}

#[test]
fn a_task_resumed_or_closed_behind_the_hosts_back_is_ended() {
    for theft in ["coroutine.resume(stolen)", "coroutine.close(stolen)"] {
        let text = format!(
            "local stolen\ntask('own', function() stolen = coroutine.running() wait(5) say('on') wait(5) end)\n\
             task('thief', function() wait(1) {theft} say('done') end)"
        );
        let mut host = Host::new(&[("t.lua", &text), ("good.lua", GOOD)]);
        host.run_until(20.0);
        let said = host.said();
        assert!(said.contains(&"1 t.lua: done".to_owned()), "{said:?}");
        let what = "was resumed or closed by the script itself; hint: leave a task's own coroutine alone";
        assert!(said.contains(&format!("5 t.lua: task `own` ended: {what}")), "{said:?}");
        assert_eq!(host.wishes(), ["Dunlin to quay-2"]);
    }
}

#[test]
fn there_is_no_way_out_of_the_sandbox() {
    let text = r#"
        for _, name in { "io", "os", "load", "loadstring", "dofile", "require", "debug", "package", "getfenv", "setfenv",
            "newproxy", "gcinfo", "collectgarbage", "buffer", "vector" } do
            if _G[name] ~= nil then say("there is", name) end
        end
        say(pcall(function() string.rep = nil end))
        say(pcall(function() getmetatable("").__index = nil end))
        say(pcall(rawset, math, "pi", 3))
        say(table.move, table.foreach)
    "#;
    let host = Host::new(&[("t.lua", text)]);
    assert_eq!(
        host.said(),
        [
            "t.lua: false t.lua:6: attempt to modify a readonly table",
            "t.lua: false t.lua:7: attempt to modify a readonly table",
            "t.lua: false attempt to modify a readonly table",
            "t.lua: nil nil",
        ]
    );
}

#[test]
fn scripts_do_not_share_anything() {
    let first = "shared = 1 send = nil\nfunction string_of() end";
    let second = "say(shared, string_of, type(send))";
    let host = Host::new(&[("a.lua", first), ("b.lua", second)]);
    assert_eq!(host.said(), ["b.lua: nil nil function"]);
}

#[test]
fn what_cannot_be_loaded_stays_out_and_leaves_the_others_alone() {
    let long = format!("-- {}", "x".repeat(1 << 20));
    let files = [
        ("binary.lua", "\x1bLua\x00\x01"),
        ("care.lua", "care('Heron')\nerror('no more')"),
        ("good.lua", GOOD),
        ("grammar.lua", "task('t', function()\nwhile do end"),
        ("long.lua", &long),
        ("loop.lua", "while true do end"),
        ("name.lua", "send('Heron', 'quay-3')"),
        ("wait.lua", "\nwait(5)"),
        ("yield.lua", "coroutine.yield()"),
    ];
    let (mut host, errors) = Host::with_budget(&files, &crate::host::patient());
    let errors = shown(&errors);
    assert_eq!(
        errors[1..3],
        [
            "care.lua:2: no more; in its care and now held: Heron",
            "grammar.lua:2: Expected identifier when parsing expression, got 'do'",
        ]
    );
    assert_eq!(
        errors[3..],
        [
            "long.lua: a script can be 1048576 bytes long, and this one is 1048579",
            "loop.lua:1: used up its time without waiting; hint: is there a loop without `wait`?",
            "name.lua:1: no section or stopping point `quay-3`; hint: did you mean `quay-2`?",
            "wait.lua:2: `wait` waits, which only a task or a hook can; hint: put it into `task(\"name\", function() ... end)`",
            "yield.lua: the top level gave way; hint: put what takes time into a task",
        ]
    );
    assert!(errors[0].starts_with("binary.lua:1: "), "{}", errors[0]);
    host.run_until(0.0);
    assert_eq!(host.wishes(), ["hold Heron: care.lua: script ended: no more", "Dunlin to quay-2"]);
}
