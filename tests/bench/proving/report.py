"""The report of one severity: figures for programs (JSON) and for people (Markdown)."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from proving.figures import FINE, bounds, calibration_error, reliability, risk_against_coverage
from proving.verdicts import Chain, Outcome, Verdict, causes


@dataclass(frozen=True, slots=True)
class Examined:
    """One case after reading and judging.

    problem: "" or why no page was found. identified: "yes", "no" (asked whose it is), or "wrong".
    verdicts: by chain; of boxes. besides: questions about cells outside the month.
    tiles: JPEG of boxes that were not right under the whole chain, by box. damage, megapixels: of the photo.
    """

    case: int
    problem: str
    identified: str
    seconds: float
    residual_mm: float
    damage: tuple[str, ...]
    megapixels: float
    verdicts: Mapping[Chain, Sequence[Verdict]] = field(default_factory=dict)
    tiles: Mapping[str, bytes] = field(default_factory=dict)
    besides: int = 0


def rate(hits: int, of: int) -> dict[str, float | int]:
    """A rate with its exact bounds."""
    low, high = bounds(hits, of) if of else (0.0, 1.0)
    return {"count": hits, "of": of, "rate": hits / of if of else 0.0, "low": low, "high": high}


def figures(cases: Sequence[Examined]) -> dict[str, Any]:
    """All figures of a severity, as JSON takes them."""
    found = [case for case in cases if not case.problem]
    out: dict[str, Any] = {
        "charts": len(cases),
        "hands": len({v.hand for case in found for v in case.verdicts[Chain.CHART]}),
        "pages_found": rate(len(found), len(cases)),
        "pages_identified": rate(sum(case.identified == "yes" for case in found), len(cases)),
        "pages_misidentified": sum(case.identified == "wrong" for case in found),
        "not_found": {
            case.case: f"{case.problem} ({'; '.join(case.damage)})" for case in cases if case.problem
        },
        "poor_fit": sum(case.residual_mm > 1.0 for case in found),
        "seconds_a_chart": float(np.mean([case.seconds for case in cases])) if cases else 0.0,
        "questions_outside_the_month": sum(case.besides for case in found),
        "chains": {},
    }
    for chain in Chain:
        verdicts = [verdict for case in found for verdict in case.verdicts[chain]]
        if verdicts:
            out["chains"][str(chain)] = _chain(verdicts)
    out["causes"] = _causes(found)
    return out


def _chain(verdicts: Sequence[Verdict]) -> dict[str, Any]:
    boxes = len(verdicts)
    wrong = [v for v in verdicts if v.outcome is Outcome.WRONG]
    numbers = [v for v in verdicts if v.is_number]
    odd = [v for v in verdicts if not v.is_number]
    silent = [v for v in wrong if v.is_number]
    guesses = [v for v in verdicts if v.has_guess]
    sure, right = [v.confidence for v in guesses], [v.is_right_guess for v in guesses]
    taken = [v for v in guesses if v.outcome is not Outcome.FLAGGED]
    coverage, risk = risk_against_coverage(sure, right, boxes)
    at = {f"{share:.3f}": _risk_at(coverage, risk, share) for share in (0.9, 0.95, 0.97, 0.98, 0.99, 1.0)}
    return {
        "boxes": boxes,
        "right": rate(sum(v.outcome is Outcome.RIGHT for v in verdicts), boxes),
        "flagged": rate(sum(v.outcome is Outcome.FLAGGED for v in verdicts), boxes),
        "flagged_needlessly": rate(sum(v.outcome is Outcome.FLAGGED for v in numbers), len(numbers)),
        "wrong": rate(len(wrong), boxes),
        "wrong_in_minutes": rate(sum(v.changes_minutes for v in wrong), boxes),
        "wrong_numbers": rate(len(silent), len(numbers)),
        "wrong_numbers_in_minutes": rate(sum(v.changes_minutes for v in silent), len(numbers)),
        "no_number_taken_as_number": rate(
            sum(v.outcome is Outcome.WRONG and v.value is not None for v in odd), len(odd)
        ),
        "no_number_taken_as_blank": rate(
            sum(v.outcome is Outcome.WRONG and v.value is None for v in odd), len(odd)
        ),
        "written_over": dict(
            Counter(str(v.outcome) for v in verdicts if v.mishap.startswith("written over"))
        ),
        "struck_and_rewritten": dict(
            Counter(
                str(v.outcome)
                for v in verdicts
                if v.mishap.startswith(("struck ", "scribbled")) and v.is_number
            )
        ),
        "flags": dict(Counter(v.flags for v in verdicts if v.outcome is Outcome.FLAGGED).most_common()),
        "calibration_error": calibration_error(sure, right),
        "calibration_error_of_taken": calibration_error(
            [v.confidence for v in taken], [v.is_right_guess for v in taken]
        ),
        "reliability": [
            {"low": b.low, "high": b.high, "count": b.count, "right": b.right, "confidence": b.confidence}
            for b in reliability(sure, right, FINE)
        ],
        "risk_at_coverage": at,
    }


def _risk_at(coverage: np.ndarray, risk: np.ndarray, share: float) -> float | None:
    place = int(np.searchsorted(coverage, share))
    return float(risk[place]) if place < len(risk) else None


def _causes(found: Sequence[Examined]) -> dict[str, dict[str, int]]:
    count: dict[str, dict[str, int]] = defaultdict(lambda: dict.fromkeys(map(str, Outcome), 0))
    for case in found:
        for verdict in case.verdicts[Chain.CHART]:
            for cause in causes(verdict, case.damage, case.megapixels):
                count[cause][str(verdict.outcome)] += 1
    return {cause: count[cause] for cause in sorted(count)}


def _per(figure: Mapping[str, Any]) -> str:
    between = f"{figure['low']:.2%} to {figure['high']:.2%}"
    return f"{figure['count']} of {figure['of']} = {figure['rate']:.2%} ({between})"


ROWS = (
    ("right", "right"),
    ("flagged", "flagged"),
    ("flagged_needlessly", "flagged, of boxes that hold one number or nothing"),
    ("wrong", "silently wrong, in all"),
    ("wrong_in_minutes", "silently wrong, other minutes"),
    ("wrong_numbers", "silently wrong, of boxes that hold one number or nothing"),
    ("wrong_numbers_in_minutes", "the same, other minutes"),
    ("no_number_taken_as_number", "no number, taken as a number"),
    ("no_number_taken_as_blank", "no number, taken as blank"),
)


def words(severity: str, found: Mapping[str, Any]) -> str:
    """The figures in Markdown. Bounds are Clopper and Pearson's, 95 %."""
    lines = [
        f"## {severity}: {found['charts']} charts, {found['hands']} hands",
        "",
        f"- pages found: {_per(found['pages_found'])}",
        f"- found and identified by their code: {_per(found['pages_identified'])}",
        f"- taken for another's: {found['pages_misidentified']}",
        f"- badly placed (frames over 1 mm off): {found['poor_fit']}",
        f"- questions about cells outside the month: {found['questions_outside_the_month']}",
        f"- {found['seconds_a_chart']:.2f} s of one core a chart, file to candidates",
        *(f"- not found: #{number}: {why}" for number, why in found["not_found"].items()),
        "",
    ]
    chains = found["chains"]
    if not chains:
        return "\n".join(lines)
    lines += ["| boxes | " + " | ".join(chains) + " |", "|---|" + "---|" * len(chains)]
    lines += [
        f"| {name} | " + " | ".join(_per(chain[key]) for chain in chains.values()) + " |"
        for key, name in ROWS
    ]
    for key, name in (
        ("calibration_error", "expected calibration error, 15 bins"),
        ("calibration_error_of_taken", "the same, of what was taken"),
    ):
        lines.append(f"| {name} | " + " | ".join(f"{chain[key]:.4f}" for chain in chains.values()) + " |")
    for share in next(iter(chains.values()))["risk_at_coverage"]:
        risks = [chain["risk_at_coverage"][share] for chain in chains.values()]
        said = " | ".join("-" if risk is None else f"{risk:.3%}" for risk in risks)
        lines.append(f"| wrong among the surest {float(share):.1%} | {said} |")
    whole = chains[str(Chain.CHART)]
    lines += [
        "",
        f"Flags: {whole['flags']}.",
        f"Written over: {whole['written_over']}.",
        f"Struck out and written anew: {whole['struck_and_rewritten']}.",
        "",
        "| sure (whole chart) | boxes | wrong | mean | says wrong |",
        "|---|---|---|---|---|",
    ]
    for each in whole["reliability"]:
        wrong, said = each["count"] - each["right"], each["confidence"]
        share = f"{wrong} = {wrong / each['count']:.2%}"
        between = f"{each['low']:g} to {each['high']:g}"
        lines.append(f"| {between} | {each['count']} | {share} | {said:.5f} | {1 - said:.2%} |")
    lines += ["", "| cause | right | flagged | wrong |", "|---|---|---|---|"]
    lines += [
        f"| {cause} | {n['right']} | {n['flagged']} ({n['flagged'] / sum(n.values()):.1%}) "
        f"| {n['wrong']} ({n['wrong'] / sum(n.values()):.2%}) |"
        for cause, n in found["causes"].items()
    ]
    return "\n".join([*lines, ""])
