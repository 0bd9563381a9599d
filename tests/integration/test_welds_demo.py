"""From job 4711, seam 12 to the report and the evidence file, on a demo that has just begun."""

import time
from pathlib import Path

from brokers_ingest import until
from whole_process import Server, call, server

REPORT_S = 60.0  # from the question to the report and the file, as promised


def disputed(running: Server) -> list[dict[str, object]]:
    answer = running.client.get("api/v1/welds?job=4711&seam=12").json()
    return [w for w in answer["items"] if w["stop"] is not None]


def test_the_demo_holds_a_disputed_seam_with_its_report(tmp_path: Path) -> None:
    with server("demo", "--port", "0", "--no-browser") as running:
        until(lambda: bool(disputed(running)), 60.0)
        began = time.monotonic()
        found = running.client.get("/welds?job=4711&seam=12").text
        [weld] = disputed(running)
        assert f'href="/welds/{weld["id"]}"' in found
        until(lambda: told(running, str(weld["id"])) == "does not conform", 30.0)
        page = running.client.get(f"/welds/{weld['id']}").text
        assert "too little air" in page
        assert "What this log cannot prove" in page
        assert "R-5527" in page
        pdf = tmp_path / "weld.pdf"
        pdf.write_bytes(running.client.get(f"api/v1/welds/{weld['id']}/evidence").content)
        assert time.monotonic() - began < REPORT_S
        verified = call("verify", str(pdf))
        assert verified.returncode == 0, verified.stdout + verified.stderr
        assert running.stop() == 0


def told(running: Server, weld: str) -> str:
    """Give the verdict; it may wait until the last readings of the past are stored."""
    answer = running.client.get(f"api/v1/welds/{weld}/verdict").json()
    return str(answer["verdict"])
