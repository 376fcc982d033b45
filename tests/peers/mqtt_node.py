"""A node that speaks through a broker by paho-mqtt, for the tests of links.

usage: mqtt_node.py PORT storm COUNT RATE | twice | tls CA | v5

storm: COUNT reports of `quay` and `throat` in turn, RATE a second; the last two say that both are free. Prints how long it took.
twice: every report is sent twice, and `magnet` passes once a time.
tls:   one report over an encrypted line.
"""

import sys
import time

import paho.mqtt.client as mqtt

port, what, rest = int(sys.argv[1]), sys.argv[2], sys.argv[3:]
version = mqtt.MQTTv5 if what == "v5" else mqtt.MQTTv311
client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="node-" + what, protocol=version)
client.max_inflight_messages_set(1000)
client.max_queued_messages_set(0)
if what == "tls":
    client.tls_set(ca_certs=rest[0])
client.username_pw_set("node", "secret")
client.connect("localhost" if what == "tls" else "127.0.0.1", port)
client.loop_start()
while not client.is_connected():
    time.sleep(0.01)


def say(topic, word, keep=True):
    return client.publish("lineclear/" + topic, word, qos=1, retain=keep)


last = None
if what == "storm":
    count, rate, waiting = int(rest[0]), float(rest[1]), []
    began = time.monotonic()
    for number in range(count):
        section = ("quay", "throat")[number % 2]
        said = say("section/" + section, "occupied" if number // 2 % 2 == 0 else "free")
        if number % 5000 == 0:                      # the library takes no more than 65,535 that nobody has answered
            if number >= 20000:
                waiting.pop(0).wait_for_publish(60)
            waiting.append(said)
        ahead = number / rate - (time.monotonic() - began)
        if ahead > 0.005:
            time.sleep(ahead)
    say("section/quay", "free")
    last = say("section/throat", "free")
    last.wait_for_publish(120)
    print(f"{count / (time.monotonic() - began):.0f}", flush=True)
elif what == "twice":
    for word in ("occupied", "free", "occupied"):
        for _ in range(2):
            last = say("section/quay", word)
    last = say("spot/magnet", "passed", keep=False)
    last.wait_for_publish(30)
else:
    last = say("section/quay", "occupied")
    last.wait_for_publish(30)
client.disconnect()
client.loop_stop()
