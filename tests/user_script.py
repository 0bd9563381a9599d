"""What a user would put together: `python -m user_script PORT COUNT URL BUCKET BATCH`.

paho, json and influxdb-client Points. BATCH 1 writes each message as it comes, as the client's
first example does; a larger one lets the client gather so many points. Says `ready`, then `done`.
"""

import json
import sys
import threading
from datetime import UTC, datetime
from typing import Any

import paho.mqtt.client as paho
from influxdb_client import InfluxDBClient, Point, WriteOptions
from influxdb_client.client.write_api import SYNCHRONOUS
from paho.mqtt.enums import CallbackAPIVersion


def points(topic: str, payload: bytes) -> list[Point]:
    """Make a point of each record."""
    records: list[dict[str, Any]] = json.loads(payload)
    base = records[0]["bt"]
    station = topic.split("/")[3]
    return [
        Point("reading")
        .tag("station", station)
        .tag("channel", record["n"])
        .field("value", float(record["v"]))
        .time(datetime.fromtimestamp(base + record.get("t", 0), UTC))
        for record in records
    ]


def main() -> None:
    """Write COUNT messages."""
    port, count, url, bucket, batch = sys.argv[1:6]
    client = InfluxDBClient(url=url, token="t", org="o")  # noqa: S106  the engine asks for none
    options = SYNCHRONOUS if int(batch) == 1 else WriteOptions(batch_size=int(batch))
    writer = client.write_api(write_options=options)
    full, ready, seen = threading.Event(), threading.Event(), 0

    def heard(_client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        nonlocal seen
        writer.write(bucket, record=points(message.topic, message.payload))
        seen += 1
        if seen == int(count):
            full.set()

    listener = paho.Client(CallbackAPIVersion.VERSION2, "script")
    listener.on_message = heard
    listener.on_subscribe = lambda *_: ready.set()
    listener.connect("127.0.0.1", int(port))
    listener.subscribe("steadybead/v1/+/+/senml", 1)
    listener.loop_start()
    ready.wait(10)
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    full.wait()
    writer.close()  # waits for what is still gathered
    sys.stdout.write("done\n")
    sys.stdout.flush()
    listener.disconnect()
    listener.loop_stop()


if __name__ == "__main__":
    main()
