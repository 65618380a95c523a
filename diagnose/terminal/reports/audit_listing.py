"""What an audit found, as lines to read, as Markdown, or as JSON."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator, Sequence
from typing import TextIO

from diagnose.errors import DiagnoseError, did_you_mean
from diagnose.paperwork.audit.auditing import audit
from diagnose.paperwork.audit.findings import Audit, Finding, Weight
from diagnose.session.words.cautions import rewiring_cautions
from diagnose.terminal.preparation.car_files import open_car, published_knowledge
from diagnose.terminal.safe_text import clean

# Longest line where none is asked for. [characters] Own choice.
USUAL_WIDTH = 80

# What each weight is called above its findings.
_HEADINGS = {
    Weight.DANGER: "Dangerous",
    Weight.FAULT: "Will not do what it is for",
    Weight.ADVICE: "Could be done better",
}


def list_audit(name: str, *, rule: str, form: str, width: int, sink: TextIO) -> bool:
    """Write what is wrong with a car by design.

    Parameters
    ----------
    name : str
        A car file, or the name of a shipped car.
    rule : str
        Rule for wires and fuses; empty for the car file's.
    form : str
        ``table``, ``markdown`` or ``json``.
    width : int
        Longest line; 0 for the usual one. [characters]
    sink : TextIO
        Takes the text.

    Returns
    -------
    bool
        Whether anything found is more than advice.

    Raises
    ------
    DiagnoseError
        If there is no such rule.
    InvalidFileError
        With everything that is wrong with the file.
    """
    knowledge = published_knowledge()
    car = open_car(name, knowledge)
    limits = knowledge.design_limits
    assert limits is not None
    if rule and rule not in limits.wire_rules:
        raise DiagnoseError(
            f'there is no rule "{rule}"{did_you_mean(rule, limits.wire_rules)}; '
            f"known: {', '.join(limits.wire_rules)}"
        )
    audited = audit(car, limits, rule=rule)
    found, chosen = audited.findings, audited.rule
    head = f"{car.title}: {_counted(found)}. Wires by the rule {chosen.name}: "
    head += f"{chosen.says}."
    if audited.unsettled:
        head += (
            f" Not looked at, as something never comes to rest in it: "
            f"{', '.join(audited.unsettled)}; diagnose check says what."
        )
    cautions: tuple[str, ...] = ()
    if found:
        cautions = rewiring_cautions((one.part for one in found), car, knowledge)
    if form == "json":
        lines: Iterator[str] = iter([_json(car.title, audited, cautions)])
    elif form == "markdown":
        lines = _markdown(clean(head), cautions, found)
    else:
        lines = _table(clean(head), cautions, found, width or USUAL_WIDTH)
    sink.writelines(f"{line}\n" for line in lines)
    return any(finding.weight is not Weight.ADVICE for finding in found)


def _counted(found: Sequence[Finding]) -> str:
    if not found:
        return "nothing found that is wrong by design"
    return f"{len(found)} finding{'s' if len(found) > 1 else ''}"


def _figures(finding: Finding) -> str:
    """Return what was found and what it is held against, in words."""
    return (
        f"{finding.figure:.3g} {finding.unit}, limit {finding.limit:.3g} {finding.unit}"
    )


def _where(finding: Finding) -> str:
    parts = [f"line {finding.line}"] if finding.line else []
    return ", ".join([*parts, *finding.states])


def _table(
    head: str, cautions: Sequence[str], found: Sequence[Finding], width: int
) -> Iterator[str]:
    yield from textwrap.wrap(head, width, break_on_hyphens=False)
    for caution in cautions:
        yield ""
        yield from _wrapped(f"Caution: {caution}", width, "")
    number = 0
    for weight in Weight:
        chosen = [finding for finding in found if finding.weight is weight]
        if chosen:
            yield ""
            yield f"{_HEADINGS[weight]}:"
        for finding in chosen:
            number += 1
            first = f"{number}. {finding.part} ({_where(finding)}): {finding.says}."
            yield from _wrapped(first, width, "  ")
            yield from _wrapped(f"{_figures(finding)}.", width, "     ")
            yield from _wrapped(f"Change: {finding.change}.", width, "     ")
            yield from _wrapped(f"Source: {finding.source}.", width, "     ")


def _wrapped(text: str, width: int, indent: str) -> list[str]:
    return textwrap.wrap(
        clean(text),
        width,
        initial_indent=indent,
        subsequent_indent="     " if indent else "",
        break_on_hyphens=False,
    )


def _markdown(
    head: str, cautions: Sequence[str], found: Sequence[Finding]
) -> Iterator[str]:
    yield "# Audit"
    yield ""
    yield head
    for caution in cautions:
        yield ""
        yield f"**Caution:** {clean(caution)}"
    for weight in Weight:
        chosen = [finding for finding in found if finding.weight is weight]
        if not chosen:
            continue
        yield ""
        yield f"## {_HEADINGS[weight]}"
        yield ""
        yield "| part | where | what is wrong | figure | limit | change | source |"
        yield "| --- | --- | --- | --- | --- | --- | --- |"
        for one in chosen:
            cells = (
                one.part,
                _where(one),
                one.says,
                f"{one.figure:.3g} {one.unit}",
                f"{one.limit:.3g} {one.unit}",
                one.change,
                one.source,
            )
            yield f"| {' | '.join(clean(c).replace('|', '/') for c in cells)} |"


def _json(title: str, audited: Audit, cautions: Sequence[str]) -> str:
    data = {
        "audit": title,
        "rule": audited.rule.name,
        "unsettled": list(audited.unsettled),
        "cautions": list(cautions),
        "findings": [
            {
                "check": one.check,
                "weight": one.weight.value,
                "part": one.part,
                "line": one.line,
                "figure": one.figure,
                "limit": one.limit,
                "unit": one.unit,
                "says": one.says,
                "change": one.change,
                "source": one.source,
                "states": list(one.states),
            }
            for one in audited.findings
        ],
    }
    return json.dumps(data, indent=2, ensure_ascii=False)
