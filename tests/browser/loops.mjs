// A layout as large as is wished: lines of passing loops, with trains that shuttle on them.

import { mkdirSync, mkdtempSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

/** A layout of some lines of passing loops, five sections each; a train shuttles between each few of them and the next. */
export function passingLoops({ loops, trains: count, lines }) {
  const long = loops / lines;
  const folder = mkdtempSync(join(tmpdir(), "lineclear-large-"));
  const track = ["[layout]", 'name = "Long line"', 'scale = "H0"', ...(lines > 1 ? [`parts = ${lines}`] : [])];
  const joint = (one, other) => track.push("[[joint]]", `ends = ["${one}", "${other}"]`);
  for (let number = 0; number < loops; number += 1) {
    track.push("[[section]]", `name = "line-${number}"`, "length = 1500");
    for (const side of ["west", "east"]) {
      track.push("[[turnout]]", `name = "${side[0]}${number}"`, "reported = true", "[[section]]", `name = "${side}-${number}"`,
        `ways = [{ from = "toe", to = "t0", length = 250, needs = { ${side[0]}${number} = "straight" } }, { from = "toe", to = "t1", length = 255, needs = { ${side[0]}${number} = "diverging" } }]`);
    }
    for (const line of [0, 1]) {
      track.push("[[section]]", `name = "track-${number}-${line}"`, "length = 1200");
      joint(`west-${number}.t${line}`, `track-${number}-${line}.a`);
      joint(`track-${number}-${line}.b`, `east-${number}.t${line}`);
      for (const end of ["a", "b"]) track.push("[[signal]]", `name = "${end}${number}-${line}"`, `at = "track-${number}-${line}.${end}"`);
    }
    for (const end of ["a", "b"]) track.push("[[stopping-point]]", `at = "track-${number}-0.${end}"`, "short-of-end = 80");
    joint(`line-${number}.b`, `west-${number}.toe`);
    if (number % long > 0) joint(`east-${number - 1}.toe`, `line-${number}.a`);
  }
  const ends = Array.from({ length: lines }, (_, line) => [`line-${line * long}.a`, `east-${(line + 1) * long - 1}.toe`]);
  track.push("[[buffer-stop]]", `at = ${JSON.stringify(ends.flat())}`);
  const every = Math.floor(loops / count);
  const trains = Array.from({ length: count }, (_, number) => `[[train]]\nname = "T${number}"\nvehicles = [{ name = "railcar", length = 250, detectable = true }]\naddress = ${number + 1000}\ntop-speed = "80 km/h"\nstands = { on = ["track-${number * every}-0"], nose = "track-${number * every}-0.b" }\n`);
  // A script asks for so much at once at most.
  const script = (/** @type {number} */ first) => `for number = ${first}, ${Math.min(first + 49, count - 1)} do
  task("shuttle " .. number, function()
    local home = number * ${every}
    while true do
      send("T" .. number, "track-" .. (home + 1) .. "-0.b")
      send("T" .. number, "track-" .. home .. "-0.a")
    end
  end)
end
`;
  mkdirSync(join(folder, "scripts"));
  writeFileSync(join(folder, "layout.toml"), track.join("\n"));
  writeFileSync(join(folder, "trains.toml"), trains.join("\n"));
  for (let first = 0; first < count; first += 50) writeFileSync(join(folder, "scripts", `from-${first}.lua`), script(first));
  return folder;
}
