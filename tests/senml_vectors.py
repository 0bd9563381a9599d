"""The examples of RFC 8428 (sections 5.1.1 to 5.1.7 and 6), as printed there.

The resolved form of the example in section 5.1.3 is printed in section 5.1.4; those of 5.1.2
(absolute times), 5.1.5, 5.1.6 and 5.1.7 agree with the `exN.gen.resolved.json` files of the public
repository core-wg/senml-spec. Its file for the example of section 5.1.5 is not valid JSON (a comma
is missing before the last record); the record with `vd` is checked here all the same. NOW stands
for the time of receipt, in seconds.
"""

from typing import Any

NOW = 1_495_587_550
Resolved = tuple[str, str | None, float, Any]
_DEVICE = "urn:dev:ow:10e2073a01080063"

EXAMPLES: dict[str, tuple[str, list[Resolved]]] = {
    "5.1.1 single point": (
        '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]',
        [(_DEVICE, "Cel", NOW, 23.1)],
    ),
    "5.1.2 several points now": (
        """[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
        {"n":"current","u":"A","v":1.2}]""",
        [(f"{_DEVICE}:voltage", "V", NOW, 120.1), (f"{_DEVICE}:current", "A", NOW, 1.2)],
    ),
    "5.1.2 several points at a time": (
        """[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
        "n":"voltage","u":"V","v":120.1},
        {"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},
        {"n":"current","t":-3,"v":1.4},{"n":"current","t":-2,"v":1.5},
        {"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]""",
        [
            ("urn:dev:ow:10e2073a0108006:voltage", "V", 1276020076.001, 120.1),
            ("urn:dev:ow:10e2073a0108006:current", "A", 1276020071.001, 1.2),
            ("urn:dev:ow:10e2073a0108006:current", "A", 1276020072.001, 1.3),
            ("urn:dev:ow:10e2073a0108006:current", "A", 1276020073.001, 1.4),
            ("urn:dev:ow:10e2073a0108006:current", "A", 1276020074.001, 1.5),
            ("urn:dev:ow:10e2073a0108006:current", "A", 1276020075.001, 1.6),
            ("urn:dev:ow:10e2073a0108006:current", "A", 1276020076.001, 1.7),
        ],
    ),
    "5.1.2 a series, closed after the printed part": (
        """[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":21.2},
        {"t":10,"v":21.3},{"t":20,"v":21.4},{"t":30,"v":21.4},{"t":40,"v":21.5},
        {"t":50,"v":21.5},{"t":60,"v":21.5},{"t":70,"v":21.6},{"t":80,"v":21.7}]""",
        [
            (_DEVICE, "%RH", 1320067464 + 10 * i, v)
            for i, v in enumerate([21.2, 21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7])
        ],
    ),
    "5.1.3 several measurements": (
        """[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
        {"u":"lon","v":24.30621},{"u":"lat","v":60.07965},{"t":60,"v":20.3},
        {"u":"lon","t":60,"v":24.30622},{"u":"lat","t":60,"v":60.07965},
        {"t":120,"v":20.7},{"u":"lon","t":120,"v":24.30623},{"u":"lat","t":120,"v":60.07966},
        {"u":"%EL","t":150,"v":98},{"t":180,"v":21.2},{"u":"lon","t":180,"v":24.30628},
        {"u":"lat","t":180,"v":60.07967}]""",
        [
            (_DEVICE, "%RH", 1320067464, 20),
            (_DEVICE, "lon", 1320067464, 24.30621),
            (_DEVICE, "lat", 1320067464, 60.07965),
            (_DEVICE, "%RH", 1320067524, 20.3),
            (_DEVICE, "lon", 1320067524, 24.30622),
            (_DEVICE, "lat", 1320067524, 60.07965),
            (_DEVICE, "%RH", 1320067584, 20.7),
            (_DEVICE, "lon", 1320067584, 24.30623),
            (_DEVICE, "lat", 1320067584, 60.07966),
            (_DEVICE, "%EL", 1320067614, 98),
            (_DEVICE, "%RH", 1320067644, 21.2),
            (_DEVICE, "lon", 1320067644, 24.30628),
            (_DEVICE, "lat", 1320067644, 60.07967),
        ],
    ),
    "5.1.4 resolved data": (
        """[{"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,"v":20},
        {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,"v":24.30621}]""",
        [(_DEVICE, "%RH", 1320067464, 20), (_DEVICE, "lon", 1320067464, 24.30621)],
    ),
    "5.1.5 several types": (
        """[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
        {"n":"label","vs":"Machine Room"},{"n":"open","vb":false},
        {"n":"nfv-reader","vd":"aGkgCg"}]""",
        [
            (f"{_DEVICE}:temp", "Cel", NOW, 23.1),
            (f"{_DEVICE}:label", None, NOW, "Machine Room"),
            (f"{_DEVICE}:open", None, NOW, False),
            (f"{_DEVICE}:nfv-reader", None, NOW, b"hi \n"),
        ],
    ),
    "5.1.6 a collection": (
        """[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
        {"n":"humidity","u":"%RH","v":30},
        {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
        {"n":"humidity","u":"%RH","v":67}]""",
        [
            ("2001:db8::2/temperature", "Cel", 1320078429, 25.2),
            ("2001:db8::2/humidity", "%RH", 1320078429, 30),
            ("2001:db8::1/temperature", "Cel", 1320078429, 12.3),
            ("2001:db8::1/humidity", "%RH", 1320078429, 67),
        ],
    ),
    "5.1.7 an actuator": (
        """[{"bn":"urn:dev:ow:10e2073a01080063:"},{"n":"temp","u":"Cel","v":23.1},
        {"n":"heat","u":"/","v":1},{"n":"fan","u":"/","v":0}]""",
        [
            (f"{_DEVICE}:temp", "Cel", NOW, 23.1),
            (f"{_DEVICE}:heat", "/", NOW, 1),
            (f"{_DEVICE}:fan", "/", NOW, 0),
        ],
    ),
    "5.1.7 two lights on": (
        """[{"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":1},
        {"n":"2001:db8::4","v":1}]""",
        [("2001:db8::3", "/", 1320078429, 1), ("2001:db8::4", "/", 1320078429, 1)],
    ),
    "5.1.7 two lights off": (
        """[{"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":0.5},
        {"n":"2001:db8::4","v":0.5},{"n":"2001:db8::3","t":0.1,"v":0},
        {"n":"2001:db8::4","t":0.1,"v":0}]""",
        [
            ("2001:db8::3", "/", 1320078429, 0.5),
            ("2001:db8::4", "/", 1320078429, 0.5),
            ("2001:db8::3", "/", 1320078429.1, 0),
            ("2001:db8::4", "/", 1320078429.1, 0),
        ],
    ),
    "ex8 of the repository: an unknown label is ignored": (
        """[{"bn":"urn:dev:ow:10e2073a01080063:","bt":1.320078429e+09,
        "l":"[{\\"href\\":\\"humidity\\",\\"foo\\":\\"bar\\"}]",
        "n":"temperature","u":"Cel","v":27.2},{"n":"humidity","u":"%RH","v":80}]""",
        [
            (f"{_DEVICE}:temperature", "Cel", 1320078429, 27.2),
            (f"{_DEVICE}:humidity", "%RH", 1320078429, 80),
        ],
    ),
    "ex11 of the repository: the base name alone is a name": (
        """[{"bn":"urn:dev:ow:10e2073a01080063","t":1276020076,"v":23.5,"u":"Cel"},
        {"t":1276020091,"v":23.6,"u":"Cel"}]""",
        [(_DEVICE, "Cel", 1276020076, 23.5), (_DEVICE, "Cel", 1276020091, 23.6)],
    ),
}

# Section 6, the dump of the example with absolute times in section 5.1.2.
CBOR_DUMP = bytes.fromhex(
    "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a"
    "22fb41d303a15b00106223614120050067766f6c746167650161560"
    "2fb405e066666666666a3006763757272656e74062402fb3ff3333333333333"
    "a3006763757272656e74062302fb3ff4cccccccccccda3006763757272656e74"
    "062202fb3ff6666666666666a3006763757272656e74062102f93e00"
    "a3006763757272656e74062002fb3ff999999999999aa3006763757272656e74"
    "060002fb3ffb333333333333"
)
