"""The command `picture`: files, streams, exit statuses, and what it refuses to write over."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from synthetic import Column, write_result

from swirlwright.cli import main
from swirlwright.postproc.visitor.animation import MOST_PICTURES, RATE, timing

SMALL = Column(n_r=16, n_z=20)
# Stands in for the encoder: reads the pictures to their end and writes how they were asked for.
ENCODER = """#!{python}
import sys
data = sys.stdin.buffer.read()
size = sys.argv[sys.argv.index("-s") + 1]
open(sys.argv[-1], "wb").write(b"\\0\\0\\0\\x20ftyp" + f"{{size}} {{len(data)}}".encode())
"""


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    """A folder where the command runs, with a transient run of four frames and a steady one."""
    monkeypatch.chdir(tmp_path)
    write_result(tmp_path / "run.h5", outcome="transient", n_frames=4, column=SMALL)
    write_result(tmp_path / "steady.h5", column=SMALL)
    return tmp_path


def with_encoder(folder: Path, monkeypatch, text: str = ENCODER) -> None:
    """Put a stand-in for ffmpeg before everything else on the path."""
    tools = folder / "tools"
    tools.mkdir()
    (tools / "ffmpeg").write_text(text.format(python=sys.executable))
    (tools / "ffmpeg").chmod(0o755)
    monkeypatch.setenv("PATH", str(tools), prepend=":")


def test_picture_is_written_where_the_command_runs(folder, capsys):
    """`picture RESULT` ends in 0 with a PNG under the result's name that has light and dark in it."""
    assert main(["picture", "run.h5", "--quiet"]) == 0
    streams = capsys.readouterr()
    assert "run.png" in streams.err and "optical depth" in streams.out and "12 per metre" in streams.out
    image = np.asarray(Image.open("run.png").convert("L"))
    assert image.shape[1] == pytest.approx(6.9 * 220, abs=2)
    scene = image[:, : image.shape[1] // 3]
    assert scene.min() < 20 and np.quantile(scene, 0.99) > 120
    assert not list(folder.glob(".*"))


def test_json_is_one_object(folder, capsys):
    """With --json there is one object on standard output that names moment, light and depths in SI."""
    assert main(["picture", "run.h5", "--quiet", "--json", "--time", "0.9"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["time_s"] == 1.0 and data["converged"] is True
    assert data["inlet_extinction_per_m"] == pytest.approx(12.0)
    assert [point["height_m"] for point in data["optical_depths"]] == pytest.approx([0.15, 0.3, 0.45])
    # exp(-(r/0.02)^2) exp(-z/H): 12 sqrt(pi) 0.02 exp(-1/2) at mid-height.
    assert data["optical_depths"][1]["optical_depth"] == pytest.approx(0.258, rel=0.05)


def test_unconverged_run_says_so(folder, capsys):
    """A run that did not converge says so on standard output too."""
    write_result(folder / "bad.h5", outcome="not-converged", column=SMALL)
    assert main(["picture", "bad.h5", "--quiet"]) == 0
    assert "NOT CONVERGED" in capsys.readouterr().out


def test_gif_shows_every_saved_frame(folder):
    """The GIF of a run of four frames half a second apart has four pictures of half a second."""
    assert main(["picture", "run.h5", "--output", "run.gif", "--quiet"]) == 0
    with Image.open("run.gif") as film:
        assert film.n_frames == 4
        assert film.info["duration"] == 500 and film.info["loop"] == 0
        assert min(film.size) > 300


def test_mp4_goes_through_the_encoder(folder, monkeypatch):
    """The encoder gets every picture whole, of even width and height."""
    with_encoder(folder, monkeypatch)
    assert main(["picture", "run.h5", "--output", "run.mp4", "--quiet"]) == 0
    size, count = Path("run.mp4").read_bytes()[8:].decode().split()
    width, height = map(int, size.split("x"))
    assert width % 2 == height % 2 == 0
    assert int(count) == 4 * 3 * width * height


def test_missing_encoder_is_named(folder, monkeypatch, capsys):
    """Without ffmpeg an MP4 ends in 2, the message names it and what to do, and nothing is written."""
    monkeypatch.setenv("PATH", str(folder))
    assert main(["picture", "run.h5", "--output", "run.mp4", "--quiet"]) == 2
    message = capsys.readouterr().err
    assert "ffmpeg" in message and ".gif" in message and message.count("\n") == 1
    assert not Path("run.mp4").exists()


def test_failing_encoder_leaves_nothing(folder, monkeypatch, capsys):
    """An encoder that fails ends in 1 with its last words, and leaves no half-written film."""
    with_encoder(folder, monkeypatch, "#!{python}\nimport sys\nsys.exit('no such codec')\n")
    assert main(["picture", "run.h5", "--output", "run.mp4", "--quiet"]) == 1
    assert "no such codec" in capsys.readouterr().err
    assert not Path("run.mp4").exists() and not list(folder.glob(".*"))


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["steady.h5", "--output", "a.gif"], "two saved frames"),
        (["run.h5", "--output", "a.jpg"], ".png, .gif, .mp4"),
        (["run.h5", "--output", "a"], ".png, .gif, .mp4"),
        (["run.h5", "--time", "7"], "0 to 1.5 s"),
        (["run.h5", "--time", "nan"], "0 to 1.5 s"),
        (["run.h5", "--time", "0.2", "--output", "a.gif"], "0.5 to 1.5 s"),
        (["nothing.h5"], "nothing.h5"),
        (["run.h5", "--output", "nowhere/a.png"], "nowhere"),
    ],
)
def test_what_cannot_be_shown_is_refused(folder, capsys, arguments, words):
    """Wrong input ends in 2 with one message that says what is allowed; nothing is written."""
    before = sorted(folder.iterdir())
    assert main(["picture", *arguments, "--quiet"]) == 2
    assert words in capsys.readouterr().err
    assert sorted(folder.iterdir()) == before


@pytest.mark.parametrize("name", ["a.png", "a.gif", "a.mp4"])
def test_files_of_another_kind_are_not_replaced(folder, capsys, name):
    """A file of another kind under the picture's name is left alone, and the command ends in 2."""
    Path(name).write_text("height,speed\n1,2\n")
    assert main(["picture", "run.h5", "--output", name, "--quiet"]) == 2
    assert "another kind" in capsys.readouterr().err
    assert Path(name).read_text() == "height,speed\n1,2\n"


def test_a_chamber_without_fog_is_drawn_but_not_animated(folder, capsys):
    """A closed cylinder without fog and tubes has a picture; an animation would show nothing and is refused."""
    write_result(folder / "closed.h5", closed=True, outcome="transient", n_frames=3, column=None)
    assert main(["picture", "closed.h5", "--quiet"]) == 0
    words = capsys.readouterr().out
    assert "No fog" in words and "Lines: " in words and "fog inlet" not in words
    assert main(["picture", "closed.h5", "--output", "closed.gif", "--quiet"]) == 2
    assert "no fog" in capsys.readouterr().err


def test_film_runs_in_true_time_or_a_stated_number_of_times_faster():
    """Any film has at most MOST_PICTURES, at RATE a second at most, and lasts the run's time over its speed."""
    for count, interval in ((2, 0.1), (151, 0.1), (301, 0.1), (1901, 0.1), (834, 0.3), (5000, 0.01), (40, 2.0)):
        times = 3.0 + interval * np.arange(count)
        plan = timing(times)
        assert 2 <= len(plan.frames) <= MOST_PICTURES and plan.rate <= RATE + 1e-9
        shown = times[plan.frames]
        assert np.diff(shown) == pytest.approx(plan.speed / plan.rate, abs=1.01 * interval)
        assert shown[0] == times[0] and times[-1] - shown[-1] <= plan.speed / plan.rate + interval
        assert (len(plan.frames) - 1) / plan.rate == pytest.approx((shown[-1] - shown[0]) / plan.speed, rel=0.1)
