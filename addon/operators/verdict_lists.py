"""The lists of the sidebar: a proof's verdicts, and the checks of the one that is chosen."""

from __future__ import annotations

from typing import Any

from ...core.proof import nearest
from ...core.proof.report.summary import share
from ...core.proof.results import FAIL, Results

# Results of the last proof in this session, for the report.
_last: dict[str, Results] = {}


def show(state: Any, rig_name: str, results: Results, *, older: bool = False) -> None:
    """Fill the verdict list: one line a requirement, its worst check."""
    _last[rig_name] = results
    state.rig, state.older = rig_name, older
    state.verdicts.clear()
    for check in nearest.worst_of_each(results):
        line = state.verdicts.add()
        line.requirement, line.verdict = check.requirement, check.verdict
        line.figure, line.limit = _figure(check.value, check.unit), _figure(check.limit, check.unit)
        line.share = nearest.share(check)
    state.headline = nearest.headline(results)
    # What failed is what somebody wants to see first.
    failed = [place for place, line in enumerate(state.verdicts) if line.verdict == FAIL]
    state.active = failed[0] if failed else 0
    list_checks(state)


def list_checks(state: Any) -> None:
    """Fill the list of checks of the requirement that is chosen, the worst first."""
    state.checks.clear()
    state.active_check = 0
    results = _last.get(state.rig)
    if results is None or not 0 <= state.active < len(state.verdicts):
        return
    checks = nearest.nearest(results, state.verdicts[state.active].requirement)
    for check, row in zip(checks, nearest.rows(checks), strict=True):
        line = state.checks.add()
        line.check, line.verdict, line.share, line.row = check.id, check.verdict, share(check), row
        # The whole of the chosen one is below the list.
        line.words = f"{check.arm} {check.motion}, {check.case.mode}"
        line.figure = f"{_figure(check.value, check.unit)} of {_figure(check.limit, check.unit)}"
        line.where = f"{check.measure}, frame {check.worst_frame}"
        line.dials = check.case.label.replace(",", ", ").replace("=", " ")


def last_of(rig_name: str) -> Results | None:
    """The results that the lists are of."""
    return _last.get(rig_name)


def _figure(value: float, unit: str) -> str:
    return f"{value:.2g}" if unit == "1" else f"{value:.2g} {unit}"
