"""Unrolled tubes: where holes lie on them, and how they are split over sheets."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from workshop_cases import mixed, shipped

from swirlwright.postproc.workshop.template import TemplateHole, TubeTemplate, cutouts, templates
from swirlwright.postproc.workshop.template_pages import runs_text
from swirlwright.postproc.workshop.template_split import CLEAR, split
from swirlwright.solver.plan import hole_plan, tube_plan


@pytest.mark.parametrize("case", [mixed(), shipped("table-top"), shipped("hall")], ids=["mixed", "table-top", "hall"])
def test_a_tube_wrapped_and_turned_by_its_template_shoots_as_the_plan_says(case):
    """Each hole, wrapped around each tube whose line faces the axis, lies where the plan has it, to a micrometre."""
    holes, plan = hole_plan(case), tube_plan(case)
    wrapped = []
    for kind in templates(case):
        for tube in kind.tubes:
            for hole in kind.holes:
                inward = math.atan2(-tube.y, -tube.x)
                # Right on paper is counterclockwise from above, seen from outside.
                angle = inward + hole.around / (kind.outer_diameter / 2)
                x = tube.x + kind.outer_diameter / 2 * math.cos(angle)
                y = tube.y + kind.outer_diameter / 2 * math.sin(angle)
                wrapped.append((x, y, hole.height, hole.diameter))
    wanted = np.column_stack([holes.x, holes.y, holes.height, holes.diameter])
    assert np.sort(np.round(wrapped, 6), axis=0) == pytest.approx(np.sort(np.round(wanted, 6), axis=0), abs=2e-6)
    distance = np.linalg.norm(np.array(wrapped)[:, None] - wanted[None], axis=2)
    assert distance.min(axis=0).max() < 1e-6
    assert sum(len(kind.tubes) for kind in templates(case)) == plan.x.size


def test_the_sense_of_paper_is_that_of_the_jets():
    """A jet aimed between tangent and axis leaves clockwise of the line to the axis, a tangential one by 90 degrees."""
    assert [hole.turn for hole in templates(shipped("table-top"))[0].holes] == [-40.0] * 11
    large, small = templates(mixed())
    assert {hole.turn for hole in large.holes} == {-90.0, 40.0}
    assert [hole.turn for hole in small.holes] == [0.0]


def test_tubes_drilled_alike_share_a_template():
    """Two entries of one kind of tube make one template, also where their roughness differs; another drill does not."""
    case = shipped("table-top")
    entry = case.model_dump(mode="json", exclude_unset=True)["tubes"][0]
    halves = [{**entry, "count": 2, "first_angle": angle} for angle in (45, 135)]
    halves[1]["roughness"] = 1e-5
    assert [len(kind.tubes) for kind in templates(shipped("table-top", {"tubes": halves}))] == [4]
    halves[1] = {**halves[1], "rows": [{**halves[1]["rows"][0], "hole_diameter": 0.004}]}
    assert [kind.name for kind in templates(shipped("table-top", {"tubes": halves}))] == ["A", "B"]


def test_a_template_ends_at_the_mounting_end():
    """The template reaches from floor or ceiling, where the tube is fed, to beyond the farthest hole."""
    large, small = templates(mixed())
    assert (small.mounting_height, small.bottom) == (0.0, 0.0)
    assert small.top == pytest.approx(0.3 + 0.002 + 0.015)
    assert (large.mounting_height, large.top) == (1.1, 1.1)
    assert large.bottom == pytest.approx(0.05 - 0.004 - 0.015)
    assert large.from_mounting(large.holes[0]) == pytest.approx(1.05)


def made_up(seed: int) -> TubeTemplate:
    """A tube with holes at random, none of which overlap along the tube."""
    random = np.random.default_rng(seed)
    heights = 0.03 + np.cumsum(random.uniform(0.01, 0.08, 30))
    outer = random.uniform(0.02, 0.4)
    around = random.uniform(-0.25, 0.25, 30) * math.pi * outer
    holes = tuple(
        TemplateHole(n, 1, float(z), float(x), math.degrees(2 * x / outer), 0.003, 50.0)
        for n, (z, x) in enumerate(zip(heights, around, strict=True), start=1)
    )
    return TubeTemplate("A", (), 0.9 * outer, outer, float(heights[-1]) + 0.1, "below", holes)


@pytest.mark.parametrize("seed", range(20))
def test_a_split_shows_everything_once(seed):
    """Sheets cover the template without gap or overlap, fit the paper, and have each hole on one of them."""
    template = made_up(seed)
    pieces = split(template, 0.19, 0.25, join=0.008)
    assert sorted(hole.number for sheet in pieces.sheets for hole in sheet.holes) == list(range(1, 31))
    assert sum((s.right - s.left) * (s.top - s.bottom) for s in pieces.sheets) == pytest.approx(
        (template.right + 0.010 - template.left) * (template.top - template.bottom)
    )
    width = 0.19 if pieces.columns == 1 else 0.19 - 0.016
    height = 0.25 if pieces.rows == 1 else 0.25 - 0.016
    assert all(s.right - s.left <= width + 1e-12 and s.top - s.bottom <= height + 1e-12 for s in pieces.sheets)
    assert all(s.right > s.left and s.top > s.bottom for s in pieces.sheets)


@pytest.mark.parametrize("seed", range(20))
def test_joints_along_the_tube_keep_clear_of_holes(seed):
    """No joint lies within CLEAR of the edge of a hole where the holes leave room."""
    pieces = split(made_up(seed), 0.19, 0.25, join=0.008)
    joints = {sheet.top for sheet in pieces.sheets} - {max(sheet.top for sheet in pieces.sheets)}
    holes = [hole for sheet in pieces.sheets for hole in sheet.holes]
    assert joints
    assert all(abs(hole.height - joint) >= 0.0015 + CLEAR - 1e-9 for hole in holes for joint in joints)


def test_joints_go_through_holes_that_leave_no_room():
    """Holes closer than paper can be joined between are split as well, each still on one sheet."""
    holes = tuple(TemplateHole(n, 1, 0.01 + 0.005 * n, 0.0, 0.0, 0.004, 90.0) for n in range(1, 101))
    template = TubeTemplate("A", (), 0.018, 0.02, 0.7, "below", holes)
    pieces = split(template, 0.19, 0.25, join=0.008)
    assert pieces.rows == 3
    assert sorted(hole.number for sheet in pieces.sheets for hole in sheet.holes) == list(range(1, 101))


@pytest.mark.parametrize("seed", range(20))
def test_neighbours_share_two_marks(seed):
    """Every joint of two sheets has two marks, on the edge of both, at least a third of the joint apart."""
    pieces = split(made_up(seed), 0.19, 0.25, join=0.008)
    sheets = {(sheet.column, sheet.row): sheet for sheet in pieces.sheets}
    for (column, row), sheet in sheets.items():
        for other in (sheets.get((column + 1, row)), sheets.get((column, row + 1))):
            if other is not None:
                common = sorted(set(pieces.marks_of(sheet)) & set(pieces.marks_of(other)), key=lambda mark: mark.name)
                assert len(common) == 2
                apart = [math.hypot(a.around - b.around, a.height - b.height) for a, b in pairwise(common)]
                joint = sheet.top - sheet.bottom if other.row == row else min(sheet.right, 1e9) - sheet.left
                assert apart[0] > joint / 3 or sheet.right > made_up(seed).right


def test_roof_and_floor_have_their_openings():
    """Exhaust, fog inlet and every tube's feed are cut; hub and disc are listed but not cut."""
    found = {cut.name: cut for cut in cutouts(mixed())}
    assert {name for name, cut in found.items() if not cut.is_cut} == {
        "hub of the fan, in the opening",
        "disc over the fog inlet",
    }
    assert found["exhaust opening"].diameter == 0.3
    assert (found["fog inlet"].diameter, found["fog inlet"].panel) == (0.1, "floor")
    assert [found[f"feed of tube {n}"].panel for n in (1, 2, 3, 4)] == ["roof", "roof", "roof", "floor"]
    assert (found["feed of tube 4"].x, found["feed of tube 4"].y) == (0.3, -0.4)


@pytest.mark.parametrize(
    "numbers, text", [([1, 2, 3, 4], "1 to 4"), ([1, 2], "1, 2"), ([1, 3, 4, 5, 9], "1, 3 to 5, 9"), ([7], "7")]
)
def test_runs_of_tubes_are_drawn_together(numbers, text):
    """Thirty tubes of one kind do not fill a title."""
    assert runs_text(numbers) == text
