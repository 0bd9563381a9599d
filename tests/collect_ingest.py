"""A collecting process for tests that kill it: `python -m collect_ingest PLANT DATA URL`.

With `inside` after the URL the embedded broker runs in it too, on the URL's host and port.
"""

import sys
import threading
from pathlib import Path

from steadybead_collector.collector import Collector
from steadybead_collector.config import load_plant_file
from steadybead_collector.mqtt.broker import EmbeddedBroker
from steadybead_collector.records.store import open_records
from steadybead_collector.stores import open_readings


def main() -> None:
    """Collect until killed."""
    plant_path, data, url = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
    if sys.argv[4:] == ["inside"]:
        EmbeddedBroker(data, url.removeprefix("mqtt://")).start()
    plant_file = load_plant_file(plant_path)
    readings = open_readings("sqlite", data, plant_file.plant)
    records = open_records("sqlite", data)
    collector = Collector(plant_file, readings, records, url, data)
    collector.start()
    ready = collector.wait_ready(20)
    sys.stdout.write(f"ready {ready}\n")
    sys.stdout.flush()
    threading.Event().wait()


if __name__ == "__main__":
    main()
