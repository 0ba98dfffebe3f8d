"""The rules and what they found, in words: a page of all rules, and the list for one record."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from asbuilt.answers.checks.rule import ASK, CANNOT_TELL, DOES_NOT, MEETS, RESULTS, Figure, Finding, Rule
from asbuilt.answers.checks.run import RULES, CheckAnswer, FigureUsed, RuleResult, figure_text
from asbuilt.units import format_length

INTRODUCTION = """\
Each rule compares what a record says with a figure, and gives one of three results: *meets*,
*does not meet*, *cannot tell*. None is a verdict. The figures are editable defaults, codes are
cited by clause and number only, and what was not read at the standard itself says so. Local
adoption and amendment decide: check with your local code and inspector."""

CONCLUSION = """\
A figure is changed in a record with `asbuilt rule add RECORD RULE.FIGURE --value ...`, a rule is
left out with `asbuilt rule add RECORD RULE --applies false --note "who says so"`."""


def rules_page(rules: Iterable[Rule] = RULES) -> str:
    """A page of all rules as Markdown: clause, edition, source, figures."""
    blocks = [_rule_block(rule) for rule in rules]
    return "\n\n".join(["# Rough-in rules", INTRODUCTION, *blocks, CONCLUSION]) + "\n"


def _rule_block(rule: Rule) -> str:
    lines = [
        f"## {rule.title}", "",
        f"`{rule.id}`, {rule.standing}" + (f": {rule.clause}" if rule.clause else "")
        + (f" ({rule.edition})" if rule.edition else ""), "",
        f"- Compares {rule.compares}.",
        f"- Source: {rule.source}.",
        f"- For: {' and '.join(rule.regions)}" + (f", {rule.needs}" if rule.needs else "") + ".",
        *(f"- Figure `{rule.id}.{f.name}`: {_default(f)} ({f.text})." for f in rule.figures),
        f"- {ASK}",
    ]  # fmt: skip
    return "\n".join(lines)


def _default(figure: Figure) -> str:
    if figure.unit == "m":
        return f"{format_length(figure.value, 'in')}, {format_length(figure.value, 'mm')}"
    return f"{figure.value:g}" + ("" if figure.unit == "1" else f" {figure.unit}")


def checks_text(answer: CheckAnswer, unit: str, everything: bool = False, face_id: str | None = None) -> str:
    """What the rules found, for the screen: what does not meet, what cannot be told, how much meets."""
    parts = [part for rule in answer.rules if (part := "\n".join(_result_lines(rule, unit, everything, face_id)))]
    total = {r: len(answer.findings(r, face_id=face_id)) for r in RESULTS}
    head = ", ".join(f"{count} {result}" for result, count in total.items())
    if not everything and answer.left_out and face_id is None:
        parts.append("\n".join(["Not looked at:", *(f"  {rule.title}: {rule.why}" for rule in answer.left_out)]))
    return "\n\n".join([f"{head}. {ASK}", *parts])


def _result_lines(rule: RuleResult, unit: str, everything: bool, face_id: str | None) -> Iterator[str]:
    found = [f for f in rule.findings if face_id is None or f.face_id == face_id]
    shown = [f for f in found if everything or f.result != MEETS]
    if not shown:
        return
    met = sum(f.result == MEETS for f in found)
    yield f"{rule.title} [{rule.cited}]{_own(rule.figures, unit)}"
    for result in RESULTS:
        for text, subjects in grouped(f for f in shown if f.result == result):
            yield f"  {result}: {'; '.join(subjects)}: {text}"
    if met and not everything:
        yield f"  {met} meet{'s' if met == 1 else ''}"


def _own(figures: Iterable[FigureUsed], unit: str) -> str:
    own = [f"{f.name} {figure_text(f, unit)}" for f in figures if f.own]
    return f", own figure: {', '.join(own)}" if own else ""


def grouped(findings: Iterable[Finding]) -> list[tuple[str, list[str]]]:
    """Findings of one rule and result, those of equal text together, each subject named once."""
    by_text: dict[str, list[str]] = {}
    for found in findings:
        subjects = by_text.setdefault(found.text, [])
        if found.subject not in subjects:
            subjects.append(found.subject)
    return list(by_text.items())


def summary(answer: CheckAnswer) -> str:
    """One line: how many findings of each result."""
    return ", ".join(f"{len(answer.findings(r))} {r}" for r in (DOES_NOT, CANNOT_TELL, MEETS))
