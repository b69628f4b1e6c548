"""Streaklines and streamlines beside the picture, against flows whose lines are known."""

from __future__ import annotations

import numpy as np
import pytest
from synthetic import CHAMBER, stretched_faces
from workshop_cases import shipped

from swirlwright.postproc.visitor.streaks import AGES, Carrier, _carried, _torn, streaks
from swirlwright.solver.results import ResultData

RADIUS, HEIGHT, N_R, N_Z = 0.2, 0.6, 48, 60


def made_up(flow, times, outcome="transient") -> ResultData:
    """A result whose frames are `flow(t, r, z)` -> (u, v, w); only what the lines need."""
    r_face, z_face = stretched_faces(N_R, RADIUS, 3.0), stretched_faces(N_Z, HEIGHT, 1.5)
    r, z = (r_face[1:] + r_face[:-1]) / 2, (z_face[1:] + z_face[:-1]) / 2
    fields = [[np.broadcast_to(f, (N_Z, N_R)) for f in flow(t, r[None, :], z[:, None])] for t in times]
    names = ("radial_velocity", "tangential_velocity", "axial_velocity")
    frames = {name: np.array([field[i] for field in fields]) for i, name in enumerate(names)}
    nothing: dict = {}
    return ResultData(
        path="made-up.h5", attributes={"outcome": outcome, "case_text": CHAMBER}, time=np.asarray(times, dtype=float),
        r=r, z=z, r_face=r_face, z_face=z_face, frames=frames, mean=nothing, std=nothing, budget=nothing,
        places={"side_open_fraction": np.full(N_Z, 0.5)}, history=nothing, probes=nothing,
    )  # fmt: skip


def rising(t, r, z, strength=0.5):
    """Air drawn in and up, u = -a r/2, w = a z, turning as a solid body."""
    return -strength * r / 2, 3.0 * r, strength * z


def test_streamlines_keep_their_stream_function():
    """In u = -a r/2, w = a z every line keeps r^2 z within a hundredth, up to where it leaves."""
    lines = streaks(made_up(rising, [0.0], "steady"), shipped("table-top"), 0)
    assert "steady" in lines.words
    for line in (*lines.air, *lines.fog):
        # Near floor, ceiling and axis the flow is led along what is solid, not by the formula.
        kept = line[(line[:, 1] > 0.02) & (line[:, 1] < 0.58) & (line[:, 0] > 0.004)]
        psi = kept[:, 0] ** 2 * kept[:, 1]
        assert psi.size == 0 or psi == pytest.approx(psi[0], rel=1e-2)


def test_level_lines_are_the_spirals_of_the_flow():
    """With u = -a r/2 and v = 3 r air goes round 3 radians while r falls by exp(-a/2) a second, the rise left out."""
    line = streaks(made_up(rising, [0.0], "steady"), shipped("table-top"), 0).level[1]
    assert np.log(line[:, 0] / line[0, 0]) == pytest.approx(-0.25 * line[:, 1] / 3.0, abs=2e-3)
    assert line[-1, 1] == pytest.approx(2 * np.pi * 1.25, rel=1e-2)


def test_streaklines_in_a_swinging_stream_are_not_its_streamlines():
    """Smoke let out at age s into w = W, u = A cos(w t) lies where u's integral since its release has carried it."""
    speed, swing, omega = 0.1, 0.05, 2.0
    times = np.arange(0.0, 4.001, 0.02)

    def flow(t, r, z):
        return swing * np.cos(omega * t) + 0 * r * z, 0 * r * z, speed + 0 * r * z

    data = made_up(flow, times)
    case = shipped("table-top")
    fields = [
        tuple(data.frames[f"{n}_velocity"][k] for n in ("radial", "tangential", "axial")) for k in range(len(times))
    ]
    carrier = Carrier(data, case, times, fields)
    ages, end = 2.0 * AGES, 4.0
    n = AGES.size
    line = _carried(carrier, np.full(n, 0.1), np.full(n, 0.1), ages, end - ages, False, np.ones(1), 1e-5)[0]
    exact = 0.1 + swing / omega * (np.sin(omega * end) - np.sin(omega * (end - ages)))
    assert line[0] == pytest.approx(exact, abs=1e-4)
    assert line[1] == pytest.approx(0.1 + speed * ages, abs=1e-4)


def test_words_say_which_lines_they_are():
    """Frames that follow the flow give streaklines; frames too far apart give streamlines, and the words say why."""
    case = shipped("table-top")

    def pulsing(t, r, z):
        return rising(t, r, z, 0.5 + 0.2 * np.sin(2 * np.pi * t))

    fine, coarse = np.arange(0.0, 6.0, 0.1), np.arange(0.0, 6.0, 0.5) + 0.2
    assert streaks(made_up(pulsing, fine), case, fine.size - 1).words == "streaklines"

    def turning_back(t, r, z):
        return rising(t, r, z, 0.5 * np.cos(2 * np.pi * t))

    assert "too far apart" in streaks(made_up(turning_back, coarse), case, coarse.size - 1).words
    assert "too few" in streaks(made_up(pulsing, fine), case, 1).words


def test_lines_stay_in_the_chamber():
    """No line is drawn outside the chamber, and torn smoke is a gap, not a stroke."""
    lines = streaks(made_up(rising, [0.0], "steady"), shipped("table-top"), 0)
    for line in (*lines.air, *lines.fog):
        assert np.nanmax(line[:, 0]) <= RADIUS and 0 <= np.nanmin(line[:, 1]) <= np.nanmax(line[:, 1]) <= HEIGHT
    there = np.array([[0.1, 0.1], [0.1, 0.11], [0.1, 0.5], [0.1, 0.51], [0.1, 0.52]])
    assert np.flatnonzero(np.isnan(_torn(there, HEIGHT, is_level=False)[:, 0])).tolist() == [2]
