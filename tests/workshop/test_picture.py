"""The picture: light, view, people for scale, and the moment that is shown."""

from __future__ import annotations

import numpy as np
import pytest
from synthetic import Column, write_result
from workshop_cases import mixed, shipped

from swirlwright.postproc.visitor.optics import MOST_STOPS, Screen, encoded, inlet_extinction, stops_of
from swirlwright.postproc.visitor.people import HAND_LENGTH, STATURE, hand, person
from swirlwright.postproc.visitor.picture import finite_frames, moment_of, picture
from swirlwright.postproc.visitor.scene import build_scene, stops_for
from swirlwright.postproc.visitor.view import rear_panels, seen_tubes, view_of
from swirlwright.solver.casefile import vary
from swirlwright.solver.errors import ResultError
from swirlwright.solver.result_notes import annotate
from swirlwright.solver.result_reading import kept_case
from swirlwright.solver.results import ResultData, load_result


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> ResultData:
    """A steady made-up column on a fine grid."""
    folder = tmp_path_factory.mktemp("picture")
    return load_result(write_result(folder / "a.h5", column=Column(n_r=160, n_z=40)))


def screen(result: ResultData, lamp: tuple[float, float] = (0.2, 0.1), n: int = 81) -> Screen:
    """Pixels over the whole chamber."""
    return Screen(result, np.linspace(-0.19, 0.19, n), np.linspace(0.01, 0.59, 50), lamp)


def test_gaussian_fog_dims_what_is_behind_by_its_closed_form(result):
    """Behind fog of extinction k exp(-r^2/a^2) the share exp(-sqrt(pi) a k exp(-y^2/a^2)) of the light is left."""
    pixels, a, k = screen(result), 0.03, 20.0
    fog = np.broadcast_to(k * np.exp(-((result.r / a) ** 2)), (result.z.size, result.r.size))
    _, passing = pixels.see(fog)
    depth = np.sqrt(np.pi) * a * k * np.exp(-((pixels.offsets / a) ** 2))
    assert -np.log(passing) == pytest.approx(np.broadcast_to(depth, passing.shape), abs=1e-3 * depth.max())


def test_thin_fog_is_as_bright_as_its_line_integral(result):
    """As the fog thins its luminance tends to the lamp's light times the optical depth."""
    pixels, fog = screen(result), np.exp(-((result.r / 0.03) ** 2)) * np.ones((result.z.size, 1))
    bright, passing = pixels.see(1e-5 * fog)
    assert bright == pytest.approx(-pixels.light * np.log(passing), rel=1e-4)


def test_thick_fog_is_lit_on_the_lamps_side_only(result):
    """Of opaque fog the side towards the lamp is bright and the other dark; turned round, the picture is mirrored."""
    fog = np.where(result.r < 0.05, 500.0, 0.0) * np.ones((result.z.size, 1))
    right, _ = screen(result, (0.2, 0.0)).see(fog)
    left, _ = screen(result, (-0.2, 0.0)).see(fog)
    assert right == pytest.approx(left[:, ::-1], rel=1e-9, abs=1e-12)
    middle = right[25]
    offsets = screen(result).offsets
    assert middle[np.abs(offsets - 0.049).argmin()] > 100 * middle[np.abs(offsets + 0.049).argmin()]


def test_light_is_one_on_the_axis_at_mid_height(result):
    """Luminance is a share of that of opaque fog on the axis at mid-height, where the lamp's light counts as one."""
    light = screen(result).light_at(np.array([0.0]), 0.0)
    assert np.interp(0.3, screen(result).heights, light[:, 0]) == pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize(
    "column, stops", [(0.4, 0), (0.2, 0), (0.19, 1), (0.05, 2), (1e-9, MOST_STOPS), (0.0, MOST_STOPS)]
)
def test_camera_opens_by_whole_stops_until_the_column_shows(column, stops):
    """Each stop doubles the light, up to the most; a bright foot alone does not keep the camera shut."""
    rows = np.full((9, 5), column)
    rows[0] = 1.0
    assert stops_of(rows) == stops


def test_screen_values_are_those_of_srgb():
    """Middle grey of 18 per cent is 46 per cent of the screen's range (IEC 61966-2-1), and nothing leaves 0 to 1."""
    assert encoded(np.array([-1.0, 0.0, 0.18, 1.0, 9.0])) == pytest.approx([0, 0, 0.4614, 1, 1], abs=1e-4)


def test_extinction_follows_water_and_droplets():
    """Twice the water or half the droplets' diameter makes twice the extinction; without a diameter there is none."""
    case = mixed()
    one = inlet_extinction(case)
    assert one is not None and one.value == pytest.approx(12.0)
    twice = inlet_extinction(vary(case, {"fog.liquid_content": 0.04}))
    assert twice is not None and twice.value == pytest.approx(2 * one.value)
    smaller = inlet_extinction(vary(case, {"fog.droplet_diameter": 2.5e-6}))
    assert smaller is not None and smaller.value == pytest.approx(2 * one.value)
    assert inlet_extinction(vary(case, {"fog.droplet_diameter": 0.0})) is None


def test_visitor_stands_before_an_open_side():
    """With front and left open the visitor stands in front, a little to the left, and looks at closed panels."""
    case = shipped("table-top")
    view = view_of(case)
    assert view.side == "front" and view.towards[0] < 0 < -view.towards[1]
    panels = rear_panels(case, view)
    assert not any(panel.is_open for panel in panels)
    assert panels[0].left == pytest.approx(-view.half_width) and panels[-1].right == pytest.approx(view.half_width)
    assert panels[0].right == pytest.approx(panels[1].left)
    assert view.lamp[0] > 0, "the strip is on the closed right side"


@pytest.mark.parametrize("opened", [[], ["back"], ["left"], ["right", "back"], ["front", "right", "back", "left"]])
def test_every_set_of_open_sides_has_a_view(opened):
    """The visitor's side is an open one where there is one, and the rear panels fill the chamber's breadth."""
    case = vary(shipped("table-top"), {"chamber.open_sides": opened})
    view = view_of(case)
    assert not opened or view.side in opened
    panels = rear_panels(case, view)
    assert sum(panel.right - panel.left for panel in panels) == pytest.approx(2 * view.half_width)
    assert np.hypot(*view.towards) == pytest.approx(1.0)
    # Right of a visitor who looks at the axis: the direction towards him turned by a quarter counterclockwise.
    assert view.rightward == pytest.approx((-view.towards[1], view.towards[0]))


def test_tubes_are_seen_where_the_plan_has_them():
    """All four corner tubes show apart, the farthest first, in their outer diameter, with the holes that face us."""
    case = shipped("table-top")
    view = view_of(case)
    tubes = seen_tubes(case, view)
    assert len(tubes) == 4
    assert np.diff(sorted(tube.across for tube in tubes)).min() > 0.02
    assert [tube.depth for tube in tubes] == sorted(tube.depth for tube in tubes)
    assert all(tube.diameter == pytest.approx(0.021) for tube in tubes)
    assert max(np.hypot(tube.across, tube.depth) for tube in tubes) == pytest.approx(0.233)
    counts = [len(tube.holes) for tube in tubes]
    assert set(counts) == {0, 11}
    for tube in tubes:
        for across, height, diameter, breadth in tube.holes:
            assert abs(across - tube.across) <= tube.diameter / 2 and breadth <= diameter == 0.0035
            assert 0.03 - 1e-9 <= height <= 0.53 + 1e-9


def test_person_and_hand_are_true_to_scale():
    """The person is of median stature with the feet on the floor, the hand of median length above the wrist."""
    box = person(1.0, 0.2).get_extents()
    assert box.y0 == pytest.approx(0.2, abs=0.002) and box.height == pytest.approx(STATURE, rel=0.003)
    assert (box.x0 + box.x1) / 2 == pytest.approx(1.0)
    assert hand(0.0, 0.1).get_extents().y1 == pytest.approx(0.1 + HAND_LENGTH, rel=0.01)


def test_front_tubes_hide_fog_and_rear_tubes_are_behind_it(result):
    """Thick fog everywhere covers panels and rear tubes, and leaves front tubes as they were."""
    scene = build_scene(result, kept_case(result.attributes), 120)
    clear = scene.image(np.zeros((result.z.size, result.r.size)), 0)
    foggy = scene.image(np.ones((result.z.size, result.r.size)) * 1e3, 0)
    columns: dict[bool, list[int]] = {True: [], False: []}
    for tube in seen_tubes(kept_case(result.attributes), scene.view):
        columns[tube.depth > 0].append(int(np.abs(scene.screen.offsets - tube.across).argmin()))
    front, rear = columns[True], columns[False]
    assert len(front) == len(rear) == 2
    assert foggy[60, front] == pytest.approx(clear[60, front])
    # The last is the one that is not deep in the shade of all that fog.
    assert np.abs(foggy[60, rear[-1]] - clear[60, rear[-1]]).max() > 0.02


def test_no_fog_is_a_dark_chamber(result):
    """Without fog the camera stays as it is and what is seen is panels and tubes."""
    case = kept_case(result.attributes)
    dry = build_scene(result, case.model_copy(update={"fog": None}), 60)
    assert dry.extinction == 0.0
    assert stops_for(dry, np.ones((result.z.size, result.r.size))) == 0


def test_moment_of_an_averaged_run_is_nearest_to_the_average(tmp_path):
    """Of frames that fade the one whose fog is the average's is shown, and the words say so."""
    data = load_result(write_result(tmp_path / "a.h5", outcome="time-averaged", n_frames=5))
    fog = data.frames["fog_concentration"]
    fog *= np.array([3.0, 2.0, 1.5, 1.01, 0.5])[:, None, None]
    frame, words = moment_of(data, kept_case(data.attributes), None)
    assert frame == 3 and "nearest to the average" in words


def test_moment_before_the_fog_is_shut(tmp_path):
    """Of a transient run the last frame is shown, or the last one before an event shuts the fog."""
    data = load_result(write_result(tmp_path / "a.h5", outcome="transient", n_frames=6))
    case = kept_case(data.attributes)
    assert moment_of(data, case, None)[0] == 5
    shut = type(case).model_validate({**case.model_dump(), "events": [{"at": 1.2, "fog": 0.0}]})
    assert moment_of(data, shut, None) == (2, "t = 1 s, before the fog is shut")
    assert moment_of(data, case, 1.6)[0] == 3


def test_frames_that_blew_up_are_not_shown(tmp_path):
    """The last finite frame is shown; times outside the saved ones and files without such a frame are refused."""
    data = load_result(write_result(tmp_path / "a.h5", outcome="transient", n_frames=3))
    data.frames["axial_velocity"][2, 4, 4] = np.nan
    assert list(finite_frames(data)) == [0, 1]
    assert moment_of(data, kept_case(data.attributes), None)[0] == 1
    with pytest.raises(ResultError, match="0 to 0.5 s"):
        moment_of(data, kept_case(data.attributes), 1.0)
    data.frames["axial_velocity"][:] = np.inf
    with pytest.raises(ResultError, match="nothing to show"):
        moment_of(data, kept_case(data.attributes), None)


def test_case_that_cannot_be_read_is_said(tmp_path):
    """A result whose case text is of another form is refused by name, without a picture."""
    path = write_result(tmp_path / "a.h5")
    annotate(path, case_text="title = 3")
    with pytest.raises(ResultError, match="a.h5: the case text in this file cannot be read"):
        picture(path, tmp_path / "a.png")
    assert not (tmp_path / "a.png").exists()
