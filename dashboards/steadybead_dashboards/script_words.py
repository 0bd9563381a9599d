"""The words and units that the browser's scripts need, from the same catalogue as the pages."""

import json
from collections.abc import Callable

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.words import (
    ALARM_STATES,
    FITNESS,
    GUN_STATES,
    PRIORITIES,
    QUANTITIES,
    START_HINTS,
    START_OUTSIDE,
    QuantityWords,
)

SCRIPT_TEXTS = {
    "live": mark("Live"),
    "connecting": mark("Connecting"),
    "lost": mark("Connection lost"),
    "lost_long": mark("Connection lost. Values below are old, last heard {ago} ago."),
    "signed_out": mark("Signed out"),
    "signed_out_long": mark("You are signed out: your session has ended. Values below are old."),
    "wall": mark("Wall view"),
    "alarms_beyond": mark("And {n} more: see the page of alarms"),
    "wall_end": mark("Leave the wall view"),
    "wall_no_screen": mark("This browser does not give the whole screen."),
    "back": mark("Connection is back."),
    "broker_lost": mark("The collector cannot be heard. Values below are old."),
    "silent": mark("nothing heard from the collector"),
    "fit_so_far": mark("Fit so far"),
    "watched": mark("a value is outside its window and is being watched"),
    "low": mark("low"),
    "high": mark("high"),
    "inside": mark("in its window"),
    "old": mark("{age} old"),
    "unheard": mark("nothing heard yet"),
    "fit_of": mark("{fit} of {all} stations fit to weld"),
    "by": mark("by {name}"),
    "acknowledged": mark("Acknowledged: {what}"),
    "new_alarm": mark("{priority} alarm at {place}: {what}"),
    "started": mark("Weld record started."),
    "stopped": mark("Weld record stopped."),
    "start_outside": START_OUTSIDE,
    "looked_at": mark("Visual result kept."),
    "see_trace": mark("See its trace"),
    "not_sent": mark("Not sent: no connection. Your entry is kept; try again."),
    "kept_here": mark("No connection: kept on this device, and sent as soon as it is back."),
    "kept_session": mark(
        "Kept on this device: your session has ended. Sign in again, then it goes."
    ),
    "kept_later": mark("The server cannot take it just now: kept on this device, and sent soon."),
    "sent_now": mark("Sent: what was kept on this device is in the log now."),
    "waiting": mark("Waiting to be sent: {n}"),
    "waiting_session": mark("Waiting to be sent: {n}. Sign in again, then it goes by itself."),
    "waiting_for": mark("Waiting until {name} signs in here: {n}"),
    "not_taken": mark("Not taken: {n}"),
    "try_again": mark("Try again"),
    "discard": mark("Throw away"),
    "without_network": mark("made while the network was gone"),
    "entry_start": mark("start on gun {gun}"),
    "entry_start_job": mark("start on gun {gun}, job {job}"),
    "entry_start_seam": mark("start on gun {gun}, seam {seam}"),
    "entry_start_job_seam": mark("start on gun {gun}, job {job}, seam {seam}"),
    "entry_stop": mark("stop on gun {gun}"),
    "entry_look": mark("how it looks, gun {gun}"),
    "entry_check": mark("reference check {channel}"),
    "refused": mark("Not done: {detail}"),
    "sign_in_again": mark("Not done: your session has ended. Sign in again; your entry is kept."),
    "good": mark("good"),
    "uncertain": mark("uncertain"),
    "bad": mark("bad"),
    "gap": mark("gap, no reading"),
    "window": mark("window {limits}{note}"),
    "no_readings": mark("No readings in this time."),
    "trace_failed": mark("The trace could not be loaded: {detail}"),
    "too_long": mark("see closer"),
    "unknown_password": mark("Name and password do not belong together, or the account is closed."),
    "unknown_pin": mark("Name and PIN do not belong together."),
    "no_secret": mark("Not done: give a password or a PIN, else the person cannot sign in."),
    "tap_again": mark("Sure? Tap once more."),
    "unknown_token": mark("This token is not known here, or it was withdrawn. Paste all of it."),
    "csv_failed": mark("The export failed: {detail}"),
    "csv_ready": mark("Export ready: {name}"),
    "zoomed": mark("Showing {start} to {end}"),
    "no_number": mark("“{typed}” is no number: write it in digits"),
    "probe_first": mark("Enter what the probe shows."),
    "not_kept": mark("Nothing was kept."),
    "check_kept": mark("Kept: {true} {unit}, the gun showed {shown}."),
    "reads_high": mark("It reads {by} {unit} too high."),
    "reads_low": mark("It reads {by} {unit} too low."),
    "see_sensor": mark("See what a value is worth now"),
    "one_offset": mark("One point: one offset. Say for which shown values it may be used."),
    "two_points": mark("Two points: a straight line between them."),
    "piecewise": mark("{n} points: straight lines from point to point."),
    "calibration_kept": mark("Calibration kept."),
    "see_calibration": mark("See what it puts in doubt"),
    "same_lines": mark("Both lines are the same: no calibration moves these readings."),
    "filter_kept": mark("Recorded: filter {work}. The forecast begins anew."),
    "filter_seen": mark("Noted: filter inspected. The forecast goes on as it was."),
    "filter_before": mark(
        "Recorded: filter {work}. Drop before: {before}; after: once air has run for three minutes."
    ),
    "filter_effect": mark("Drop before: {before}; after: {after}."),
    "filter_no_lower": mark(
        "The drop is no lower: see that the right filter is in and sits well, "
        "and that the hose of the gauge is on."
    ),
    "filter_changed": mark("changed"),
    "filter_tapped_out": mark("tapped out"),
    "filter_inspected": mark("inspected"),
    "plant_too_large": mark("The file is larger than {most} KiB. Use steadybead check for it."),
    "plant_one": mark("Not in order: one mistake."),
    "plant_some": mark("Not in order: {n} mistakes."),
    "plant_many": mark("Not in order: the first {n} mistakes."),
    "plant_in_order": mark("In order: {stations} stations, {channels} channels."),
    "plant_station": mark("{station}: guns {guns}, channels {channels}"),
    "plant_added": mark("New beside the plant file in force ({n}): {names}"),
    "plant_removed": mark("Not in it any more ({n}): {names}"),
    "plant_changed": mark("Changed ({n}): {names}"),
    "plant_same": mark("Its channels are those of the plant file in force."),
    "plant_line": mark("Line {line}"),
    "moved_by": mark("The calibrations move these readings by {least} to {most} {unit}."),
}


def script_words(translate: Callable[[str], str]) -> str:
    """Write all of it as JSON for a data block of the page."""
    tables = {
        "texts": {key: translate(text) for key, text in SCRIPT_TEXTS.items()},
        "fitness": {key.value: translate(text) for key, text in FITNESS.items()},
        "states": {key.value: translate(text) for key, text in GUN_STATES.items()},
        "starts": {key.value: translate(text) for key, text in START_HINTS.items()},
        "priorities": {key.value: translate(text) for key, text in PRIORITIES.items()},
        "alarms": {key.value: translate(text) for key, text in ALARM_STATES.items()},
        "quantities": {key.value: _quantity(words, translate) for key, words in QUANTITIES.items()},
    }
    return json.dumps(tables, ensure_ascii=True, separators=(",", ":")).replace("<", "\\u003c")


def _quantity(words: QuantityWords, translate: Callable[[str], str]) -> dict[str, str | int]:
    return {"label": translate(words.label), "unit": words.unit, "decimals": words.decimals}
