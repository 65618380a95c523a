"""What procedures.yaml says of cautions and of the readings there are."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.files.knowledge.checks.findings import Finding, unknown_name
from diagnose.files.knowledge.contents import Contents
from diagnose.files.knowledge.models.terms import spoken_term
from diagnose.files.yaml_positions import Location
from diagnose.measurement.procedures import OF_PROVOCATIONS, OF_READINGS, OF_TESTS

# Procedures that a term explains too: what it is stands before how it is read. By
# definition.
ALSO_TERMS = frozenset({"drain", "ripple", "test-lamp"})


def check_procedures(contents: Contents) -> Iterator[Finding]:
    """Find procedures that no reading follows, and readings that follow none."""
    there = contents.procedures.procedures
    wanted = (*OF_READINGS, *OF_TESTS, *OF_PROVOCATIONS)
    lacking = [name for name in wanted if name not in there]
    if lacking:
        message = f"lacks the procedures {', '.join(lacking)}"
        yield _found(("procedures",), message, is_key=True)
    terms = contents.terms.by_words()
    known = contents.cautions.cautions
    for name, entry in there.items():
        place = ("procedures", name)
        if name not in wanted:
            message = unknown_name("procedure", name, dict.fromkeys(wanted))
            yield _found(place, message, is_key=True)
        elif spoken_term(name) in terms and name not in ALSO_TERMS:
            message = f'"{spoken_term(name)}" is asked for in two ways'
            yield _found(place, message, is_key=True)
        if entry.caution and entry.caution not in known:
            message = unknown_name("caution", entry.caution, known)
            yield _found((*place, "caution"), message)


def _found(location: Location, message: str, *, is_key: bool = False) -> Finding:
    return Finding(file="procedures", location=location, message=message, is_key=is_key)
