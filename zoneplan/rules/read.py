"""TOML files to Rules: laid over each other, every fault told at once, the whole proved."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from zoneplan.errors import RuleError, listed, nearest
from zoneplan.forms import MOST_TOML_MB
from zoneplan.plain_file import read_plain
from zoneplan.rules.coverage import faults_of
from zoneplan.rules.parse import Page, parse
from zoneplan.rules.rule import DECIDES, Rule, Rules, RuleSet

_File = tuple[str, bytes, str]  # its name, what it holds, and whose rules they are
STOCK = tuple(Path(__file__).parent / "data" / f"{decides}.toml" for decides in DECIDES)


@dataclass(frozen=True)
class RulesFile:
    """A rules file that lies on no disk."""

    name: str
    content: bytes


def read_rules(extra: Sequence[Path | RulesFile] = ()) -> Rules:
    """Read the stock rules and lay each extra file over them, in order.

    In an extra file a rule with a known id takes that rule's place, a new id is added after
    the others, and a top-level `drop = ["id"]` takes rules away.

    Parameters
    ----------
    extra : sequence of Path or RulesFile
        Rules files of a grower or a co-op. One may hold only a few rules.

    Returns
    -------
    Rules
        Every rule set, in SI, proved: see `prove`.

    Raises
    ------
    RuleError
        With every fault of every file; once the files are sound, with every fault of the
        rules laid together.

    Examples
    --------
    >>> rules = read_rules()
    >>> [rule_set.decides for rule_set in rules.sets]
    ['aim', 'most', 'swing', 'stop', 'closing']
    """
    files: list[_File] = []
    faults: list[str] = []
    for file in (*STOCK, *extra):
        try:
            files.append((file.name, _content(file), "stock" if file in STOCK else file.name))
            _page(*files[-1])
        except RuleError as error:
            faults.append(str(error))
    if faults:
        raise RuleError("\n".join(faults))
    return _proved(tuple(files))


_page = lru_cache(maxsize=32)(parse)  # many fields are planned by the same rules


@lru_cache(maxsize=8)
def _proved(files: tuple[_File, ...]) -> Rules:
    """Lay sound files over each other, and prove what comes of it."""
    pages = [_page(*file) for file in files]
    faults: list[str] = []
    sets: dict[str, RuleSet] = {}
    for decides in DECIDES:
        try:
            sets[decides] = _lay_together([page for page in pages if page.decides == decides])
        except RuleError as error:
            faults.append(str(error))
    if faults:
        raise RuleError("\n".join(faults))
    return Rules(
        **sets,
        revised=max(page.revised for page in pages),
        sha256=hashlib.sha256(b"".join(content for _, content, _ in files)).hexdigest(),
        dropped=tuple(rule_id for page in pages for rule_id in page.drop),
    )


def _content(file: Path | RulesFile) -> bytes:
    if isinstance(file, RulesFile):
        return file.content
    return read_plain(file, MOST_TOML_MB, RuleError)


def _lay_together(pages: Sequence[Page]) -> RuleSet:
    """Lay pages that decide one thing over each other, and prove what comes of it."""
    laid: dict[str, Rule] = {}
    faults: list[str] = []
    soils: dict[str, str] = {}
    for page in pages:
        for rule_id in page.drop:
            if laid.pop(rule_id, None) is None:
                faults.append(
                    f'{page.name}, drop: "{rule_id}" is no rule. {nearest(rule_id, laid)}'.rstrip()
                )
        laid |= {rule.id: rule for rule in page.rules}
        soils |= page.soils
    stock = pages[0]
    rules = tuple(laid.values())
    faults += faults_of(stock.decides, rules, stock.unit)
    if faults:
        names = " + ".join(page.name for page in pages)
        raise RuleError(listed(f"The {stock.decides} rulebook ({names})", faults))
    return RuleSet(
        decides=stock.decides,
        unit=stock.unit,
        revised=max(page.revised for page in pages),
        rules=rules,
        soils=soils,
    )
