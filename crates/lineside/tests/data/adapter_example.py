"""An adapter for a box of sixteen detectors and eight turnout motors on a serial line. In links.toml:

    by = "adapter"
    command = ["python3", "box.py", "/dev/ttyUSB0"]
    sections = { "quay-1" = 3 }       # the third input of the box
    turnouts = { "W1" = 1 }           # its first motor
"""
import json, os, sys, threading, time, tty

box = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)
if os.isatty(box):
    tty.setraw(box)
names = {}                                         # inputs of the box, with the sections they watch
heard_at, trains_stand = time.monotonic(), True

def say(**line):                                   # in one go: several threads speak
    sys.stdout.write(json.dumps(line) + "\n")
    sys.stdout.flush()

def tell_box(text):
    os.write(box, text.encode() + b"\n")

def listen_to_box():                               # it says `3=1`: input 3 is occupied; `.`: that was all
    for line in os.fdopen(os.dup(box), errors="replace"):
        number, _, value = line.strip().partition("=")
        if line.strip() == ".":
            say(complete=True)
        elif number in names:
            say(section=names[number], occupied=value == "1")
    say(gone="the box is not there any more")

def keep_watch():
    global trains_stand
    while True:
        time.sleep(0.5)
        say(alive=True)
        if time.monotonic() - heard_at > 3 and not trains_stand:
            trains_stand = True                    # Lineclear is gone, or hangs
            tell_box("X")                          # every train stands

threading.Thread(target=keep_watch, daemon=True).start()
for text in sys.stdin:                             # what Lineclear says; unknown keys are passed over
    line, heard_at = json.loads(text), time.monotonic()
    if "lineclear" in line:
        names.update({t["at"]: t["section"] for t in line["things"] if "section" in t})
        say(adapter=1, name="sixteen inputs")
        threading.Thread(target=listen_to_box, daemon=True).start()
    elif line.get("ask") == "all":
        tell_box("?")                              # the box answers with every input, then `.`
    elif "throw" in line:
        tell_box(f"T{line['at']}{'+' if line['throw'] == 'diverging' else '-'}")
    elif "drive" in line:
        trains_stand = trains_stand and line["step"] == 0                # `!`: it stands at once
        tell_box(f"D{line['address']} {line['drive'][0]} {'!' if line.get('emergency') else line['step']}")
    elif "function" in line:
        tell_box(f"F{line['address']} {line['function']}{'+' if line['on'] else '-'}")
    elif "end" in line:
        break
tell_box("X")
