"""A bare subscriber: `python -m paho_counter PORT COUNT`; counts and acknowledges, nothing else."""

import sys
import threading

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion


def main() -> None:
    """Say `ready`, then `done` when COUNT messages have come."""
    port, count = int(sys.argv[1]), int(sys.argv[2])
    client = paho.Client(CallbackAPIVersion.VERSION2, "counter", manual_ack=True)
    seen, full, ready = 0, threading.Event(), threading.Event()

    def heard(_client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        nonlocal seen
        client.ack(message.mid, 1)
        seen += 1
        if seen == count:
            full.set()

    client.on_message = heard
    client.on_subscribe = lambda *_: ready.set()
    client.connect("127.0.0.1", port)
    client.subscribe("steadybead/v1/#", 1)
    client.loop_start()
    ready.wait(10)
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    full.wait()
    sys.stdout.write("done\n")
    sys.stdout.flush()
    client.disconnect()
    client.loop_stop()


if __name__ == "__main__":
    main()
