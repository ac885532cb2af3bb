"""Machine, rules and observation files that mean harm; tables of points and survey answers."""

import json

from tests.hostile.case import FINE, written
from zoneplan.rowunit.machine_file import new_machine_text

SPRINGS = new_machine_text("springs")
_TOML = [
    ("a number of 6,000 digits", "x = " + "9" * 6000, "is not TOML"),
    ("50,000 brackets", "x = " + "[" * 50_000, "is not TOML"),
    ("50,000 tables", "x = " + "{a=" * 50_000, "is not TOML"),
    ("50,000 dots", "a" + ".a" * 50_000 + " = 1", "is not TOML|not a key"),
    ("nothing", "", "faults"),
    ("a NUL", "name = 'a\x00b'", "is not TOML"),
    ("letters of another code", "name = 'Lünn'".encode("latin-1"), "is not UTF-8"),
    ("UTF-16", "name = 'x'".encode("utf-16"), "is not UTF-8|is not TOML"),
    ("2 MB", "# " + "x" * 2_000_000, "is 2.0 MB"),
    ("a key that stands twice", "a = 1\na = 2", "is not TOML"),
    ("100 keys that are none", "".join(f"k{n} = {n}\n" for n in range(100)), "and .* more"),
    ("a key that steers", '"\x1b[2J" = 1', "is not TOML|not a key"),
    ("a key of 100,000 letters", '"' + "k" * 100_000 + '" = 1', "not a key"),
    ("a picture", b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "is not UTF-8|is not TOML"),
]
for _door, _file in (("machine", "m.toml"), ("rules", "r.toml"), ("observation", "o.toml")):
    written(_door, _file, [(f"{what}", text, words) for what, text, words in _TOML])


_KEYS = {
    "name": '"Ours"',
    "rows": "12",
    "row_spacing": '"30 in"',
    "speed": '"5 mph"',
    "depth": '"2 in"',
    "unit_weight": '"180 lb"',
    "attachments": '"25 lb"',
    "hopper": '"1.6 bu"',
    "full": "1.0",
    "refill": "0.2",
    "notches": '[{ name = "1", load = "20 lb" }]',
    "system": '{ kind = "springs" }',
}


def _but(key: str, value: str) -> str:
    return "".join(f"{name} = {part}\n" for name, part in (_KEYS | {key: value}).items())


written("machine", "m.toml", [
    ("as it should be", SPRINGS, FINE),
    *(
        (f"{key} is {value[:20]}", _but(key, value), key)
        for key, value in [
            ("rows", "1_000_000_000"), ("rows", "-5"), ("rows", "nan"), ("rows", "true"), ("rows", "[]"),
            ("rows", "9" * 400), ("rows", "12.5"), ("rows", "1979-05-27"),
            ("speed", '"1e308 mph"'), ("speed", '"1e400 mph"'), ("speed", "5"), ("speed", '""'),
            ("unit_weight", '"' + "9" * 5000 + ' lb"'), ("unit_weight", '"NaN lb"'),
            ("unit_weight", '"-1 lb"'), ("hopper", '{a = 1}'), ("full", "inf"), ("full", "2"),
            ("refill", "9" * 400), ("notches", "[]"), ("notches", "[1, 2]"),
            ("notches", '[{ name = "1", load = "1e308 lb" }]'), ("name", "5"), ("name", '"   "'),
            ("light_to_heavy", "inf"), ("swing", '"1e308 N"'), ("disc_diameter", '"0 in"'),
        ]
    ),
    ("a name of 500,000 letters", _but("name", '"' + "n" * 500_000 + '"'), "name|"),
])  # fmt: skip

_HEAD = 'decides = "aim"\nunit = "lbf"\nrevised = 2026-11-20\n'
_RULE = (
    '[[adjust]]\nid = "x"\ntitle = "t"\nwhy = "w"\nconfidence = "judged"\nadd = {}\n'
    '[[adjust.source]]\ncite = "judgement"\n'
)
written("rules", "r.toml", [
    (f"an amount of {value[:12]}", _HEAD + _RULE.format(value), "add")
    for value in ("nan", "inf", "-inf", "1e308", "9" * 400, '"5 lb"', "[]", "true", "-1_000_000_000_000")
] + [
    ("a rule that is a number", _HEAD + "adjust = 5", "adjust"),
    ("rules that are numbers", _HEAD + "adjust = [5, 6]", "adjust"),
    ("drops what is not there", _HEAD + 'drop = ["no-such-rule"]', "is no rule"),
    ("drops every base rule", _HEAD + f"drop = {json.dumps([f'aim-{g}-{m}' for g in ('coarse', 'medium', 'fine') for m in ('dry', 'moist', 'wet')])}", "drop|no base rule"),
    ("drops 5,000 that are not there", _HEAD + f"drop = {json.dumps([f'r{n}' for n in range(5000)])}", "more"),
    ("an id of 100,000 letters", _HEAD + '[[adjust]]\nid = "' + "x" * 100_000 + '"', "has no"),
    ("an id that is a list of numbers", _HEAD + f"[[adjust]]\nid = [{', '.join(['9' * 300] * 30)}]", "id"),
    ("a day that is none", _HEAD.replace("2026-11-20", '"soon"'), "revised"),
])  # fmt: skip

_OBSERVED = (
    'zone = 1\nwetness = "moist"\nfill = 0.5\nsetting = "0 lb"\nmargin = "50 lb"\nnotch = "1"\n'
)
written("observation", "o.toml", [
    ("a zone of 400 digits", _OBSERVED.replace("zone = 1", "zone = " + "9" * 400), "zone"),
    ("a fill that is no number", _OBSERVED.replace("0.5", "nan"), "fill"),
    ("a margin of 1e308", _OBSERVED.replace("50 lb", "1e308 lb"), "margin"),
    ("a notch that is a list", _OBSERVED.replace('"1"', "[1]"), "notch"),
    ("a setting that is a table", _OBSERVED.replace('"0 lb"', "{}"), "setting"),
])  # fmt: skip

_CSV = "longitude,latitude,sand,silt,clay\n"
_ROW = "-93.5,42.0,40,40,20\n"
_MANY = "".join(f"{-93.5 + n / 1e6:.6f},{42 + n % 7 / 1e5:.5f},40,40,20\n" for n in range(40))
written("points", "p.csv", [
    ("points as they should be", _CSV + _MANY, FINE),
    ("nothing", "", "no headings"),
    ("headings alone", _CSV, "no headings, or nothing below"),
    ("numbers alone", "1,2,3\n4,5,6\n", "no headings"),
    ("a NUL", _CSV + _ROW + "\x00", "content is something else"),
    ("UTF-16", (_CSV + _ROW).encode("utf-16"), "something else|no headings|no columns"),
    ("a quote that never ends", _CSV + '"' + _MANY, "headings|cells|cannot"),
    ("a cell of 200,000 letters", _CSV + _ROW.replace("20", "x" * 200_000), "cannot be read as a table|numbers"),
    ("100,000 columns", ",".join(f"c{n}" for n in range(100_000)) + "\n" + ",".join("1" * 100_000), "no column"),
    ("ragged rows", _CSV + "1,2\n" * 100, "and 80 more"),
    ("100 cells of words", _CSV + "-93.5,42,a,b,c\n" * 100, "and 80 more"),
    ("a heading twice", "longitude,latitude,sand,sand\n1,2,3,4\n", "heads 2 columns"),
    ("places of 1e308", _CSV + "1e308,1e308,40,40,20\n" * 40, "misses the field|no point|we want numbers"),
    ("places that are not numbers", _CSV + "nan,nan,40,40,20\n" * 40, "no point with a value"),
    ("places without end", _CSV + "inf,-inf,40,40,20\n" * 40, "numbers"),
    ("swapped", _CSV + "42.0,-93.5,40,40,20\n" * 40, "swapped|misses the field"),
    ("all in one place", _CSV + _ROW * 100, "points"),
    ("values of 1e308", _CSV + _MANY.replace("40,40,20", "1e308,1e308,1e308"), "add up|sand|parts"),
    ("values below nothing", _CSV + _MANY.replace("20\n", "-20\n"), "add up|sand|clay|parts|below"),
    ("a number of 6,000 digits", _CSV + _MANY.replace("20\n", "9" * 6000 + "\n"), "add up|clay|parts|numbers"),
    ("conductivity of 1e308", "longitude,latitude,eca\n" + "".join(f"{-93.5 + n / 1e6},42.00{n:03},1e308\n" for n in range(400)), "|points|conductivity|we want numbers"),
    ("a script in a heading", "=cmd|' /C calc'!A0,latitude\n1,2\n", "no columns that say|no column"),
])  # fmt: skip


def _answer(*rows: object) -> str:
    return json.dumps({"Table": [*rows]})


_NAMES = [
    "areasymbol", "musym", "muname", "mukey", "comppct_r", "compname", "cokey", "hzdept_r",
    "hzdepb_r", "sandtotal_r", "silttotal_r", "claytotal_r", "chkey", "mupolygongeo",
]  # fmt: skip
_WKT = "POLYGON((-93.51 41.99,-93.49 41.99,-93.49 42.01,-93.51 42.01,-93.51 41.99))"
_CELLS = ["ZZ1", "A", "Alpha", "1", "100", "Alpha", "11", "0", "60", "40", "40", "20", "111", _WKT]


def _one(**changed: object) -> str:
    return _answer(
        _NAMES, [changed.get(name, cell) for name, cell in zip(_NAMES, _CELLS, strict=True)]
    )


_ASK = "sk again|sk the service again|a row of|no survey|holds|content|cannot be read|Add what"
written("soil", "answer.json", [
    ("an answer as it should be", _one(), FINE),
    ("an answer that is a number", '{"Table": 5}', _ASK),
    ("an answer that is text", '{"Table": "x"}', _ASK),
    ("an answer that is nothing", '{"Table": null}', _ASK),
    ("an answer of numbers", _answer(1, 2, 3), _ASK),
    ("an answer of tables", _answer({"a": 1}, {"a": 2}), _ASK),
    ("an answer whose first row is empty", _answer([], []), _ASK),
    ("an answer of headings alone", _answer(_NAMES), _ASK),
    ("an answer with headings that are numbers", _answer([1, 2], [3, 4]), _ASK),
    ("an answer with headings that are lists", _answer([_NAMES], [3, 4]), _ASK),
    ("an answer of brackets", '{"Table": ' + "[" * 50_000, _ASK),
    ("an answer of closed brackets", '{"Table": ' + "[" * 50_000 + "]" * 50_000 + "}", _ASK),
    ("an answer cut off", _one()[:300], _ASK),
    ("an answer of 60 rows too short", _answer(_NAMES, *([[1]] * 60)), "and 40 more"),
    ("an answer with a huge number", _one(sandtotal_r=10**400).replace("1" + "0" * 400, "9" * 6000), _ASK),
    ("an answer with 1e999", _one(claytotal_r=float("inf")).replace("Infinity", "1e999"), "no number|cannot be"),
    ("an answer with a list in a cell", _one(muname=["a", {"b": 1}]), FINE),
    ("an answer with a percent of 1e308", _one(comppct_r="1e308"), "cannot be"),
    ("an answer with a shape that is none", _one(mupolygongeo="POLYGON((1 2"), "polygon cannot be read"),
    ("an answer with a shape that is a number", _one(mupolygongeo=5), "polygon cannot be read"),
    ("an answer with a shape of 1e308", _one(mupolygongeo=_WKT.replace("-93.51", "1e308")), "degrees"),
    ("an answer with a shape that is not a number", _one(mupolygongeo=_WKT.replace("-93.51", "nan")), "degrees|polygon"),
    ("an answer with shapes within shapes", _one(mupolygongeo="GEOMETRYCOLLECTION(" * 3000 + "POINT(0 0)" + ")" * 3000), "polygon|degrees|reaches|"),
    ("an answer in two results", json.dumps({"Table": [], "Table1": []}), "2 results"),
    ("an answer with a NUL", _one(muname="a\x00b"), FINE),
])  # fmt: skip
