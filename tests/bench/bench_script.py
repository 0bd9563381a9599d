"""The way in beside what a user would write: paho, json and influxdb-client Points.

Both take the same packets through a real Mosquitto. The script writes to the real InfluxDB 1.6.7
engine behind a path shim (what Debian has), once as a beginner writes it and once gathering 5,000
points; it neither converts nor judges, and what it gathers is acknowledged before it is kept.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from bench.bench_line import RECORDS, broker, collecting, environment, figure, messages, publishing
from influx_server import Gate, readings_server, why_not
from raw_publisher import packets, save
from steadybead_collector.stores.influx.server import Server as Influx

GATHERED = 5000


def main(short: bool) -> list[dict[str, Any]]:
    """Run all; needs mosquitto and influxd."""
    if (reason := why_not()) is not None:
        raise SystemExit(reason)
    ours_count, gathered_count, plain_count = (2_000, 600, 100) if short else (40_000, 6_000, 1_000)
    with readings_server() as gate:
        ours = scripted(None, ours_count, 0)
        gathered = scripted(gate, gathered_count, GATHERED)
        plain = scripted(gate, plain_count, 1)
    rows = [
        figure("script: ours, readings", ours * RECORDS, "1/s"),
        figure(f"script: gathering {GATHERED:,} points, readings", gathered * RECORDS, "1/s"),
        figure("script: a write for each message, readings", plain * RECORDS, "1/s"),
        figure("script: ours over the gathering one", ours / gathered, "", 2.0),
        figure("script: ours over a write for each message", ours / plain, "", 10.0),
    ]
    return [row | {"goal": None, "met": None} for row in rows] if short else rows


def scripted(gate: Gate | None, count: int, batch: int) -> float:
    """Give messages a second of the script, or without a gate of the product."""
    with tempfile.TemporaryDirectory(prefix="bench-script-") as name:
        folder = Path(name)
        save(folder / "packets", packets(messages(count)))
        if gate is None:
            return collecting(folder, count)[0]
        before = kept(gate)
        with broker() as running:
            words = [sys.executable, "-m", "user_script", str(running.port), str(count)]
            words += [gate.url, gate.bucket, str(batch)]
            with subprocess.Popen(words, stdout=subprocess.PIPE, env=environment()) as process:
                assert process.stdout is not None
                process.stdout.readline()
                began = time.perf_counter()
                with publishing(running.port, folder):
                    process.stdout.readline()
                    took = time.perf_counter() - began
        if kept(gate) - before != count * RECORDS:
            raise SystemExit(f"the script lost points: {kept(gate) - before} of {count * RECORDS}")
    return count / took


def kept(gate: Gate) -> int:
    """Count the script's points in the engine."""
    server = Influx(gate.address())
    try:
        rows = server.ask("SELECT COUNT(value) FROM reading")
    finally:
        server.close()
    return sum(int(series.columns["count"][0]) for series in rows)
