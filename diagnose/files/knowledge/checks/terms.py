"""What terms.yaml says of its own words."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.files.knowledge.checks.findings import Finding
from diagnose.files.knowledge.contents import Contents
from diagnose.files.knowledge.models.terms import spoken_term


def check_terms(contents: Contents) -> Iterator[Finding]:
    """Find words that two terms are asked by."""
    asked: set[str] = set()
    for name, entry in contents.terms.terms.items():
        for one in (name, *entry.also):
            words = spoken_term(one)
            if words in asked:
                is_own = one == name
                yield Finding(
                    file="terms",
                    location=("terms", name) if is_own else ("terms", name, "also"),
                    message=f'"{words}" is asked for in two ways',
                )
            asked.add(words)
