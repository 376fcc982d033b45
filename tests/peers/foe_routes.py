"""Runs the network in the folder given through eclipse-sumo and prints, as JSON, the stretches between signals that its trains used
("driveways") with the signal each begins at and its edges, and which of them exclude each other ("foes")."""

import json
import os
import pathlib
import subprocess
import sys
import tempfile
import xml.etree.ElementTree

import sumo

network = pathlib.Path(sys.argv[1])
programs = pathlib.Path(sumo.SUMO_HOME) / "bin"
surroundings = {**os.environ, "SUMO_HOME": sumo.SUMO_HOME}


def run(program, *arguments):
    done = subprocess.run([programs / program, *arguments], env=surroundings, capture_output=True, text=True, timeout=120)
    if done.returncode != 0:
        sys.exit(f"{program} failed: {done.stdout}{done.stderr}")


with tempfile.TemporaryDirectory() as scratch:
    net, blocks = f"{scratch}/net.xml", f"{scratch}/blocks.xml"
    parts = ["-n", network / "nodes.xml", "-e", network / "edges.xml", "-x", network / "connections.xml"]
    run("netconvert", *parts, "-o", net)
    run("sumo", "-n", net, "-r", network / "trains.xml", "--railsignal-block-output", blocks, "--end", "3600", "--no-step-log", "true")
    found = xml.etree.ElementTree.parse(blocks).getroot()

driveways, foes = {}, set()
for signal in found.iter("railSignal"):
    for driveway in signal.iter("driveWay"):
        lanes = driveway.find("forward").get("lanes").split()
        edges = [lane.rsplit("_", 1)[0] for lane in lanes if not lane.startswith(":")]
        driveways[driveway.get("id")] = {"signal": signal.get("id"), "edges": edges}
        for foe in driveway.find("foes").get("driveWays").split():
            # A part of a driveway that ends at the place of conflict has one number more.
            foe = ".".join(foe.split(".")[:2])
            if foe != driveway.get("id"):
                foes.add(tuple(sorted([driveway.get("id"), foe])))
print(json.dumps({"driveways": driveways, "foes": sorted(foes)}))
