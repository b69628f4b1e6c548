"""Is Ctrl-C never lost, whatever the code that it falls into makes of it?"""

from __future__ import annotations

import ctypes
import signal
import time

import pytest

from swirlwright import cli
from swirlwright.solver import solve as main_path
from swirlwright.solver.interrupts import Interrupt, handling_interrupt, raising_interrupt


def test_an_interrupt_swallowed_by_a_callback_comes_again(capsys):
    """Raised inside a C callback, which drops it, the interrupt still ends the block, soon and without a trace."""

    @ctypes.CFUNCTYPE(None)
    def callback() -> None:
        signal.raise_signal(signal.SIGINT)

    began = time.monotonic()
    with pytest.raises(Interrupt), raising_interrupt():
        callback()
        while time.monotonic() - began < 30.0:
            time.sleep(0.01)
    assert time.monotonic() - began < 5.0
    assert capsys.readouterr().err == ""


def test_an_interrupt_that_ends_in_another_error_is_an_interrupt():
    """An import that was cut short raises what it likes; what the caller sees is the interrupt."""
    with pytest.raises(Interrupt), raising_interrupt():
        try:
            signal.raise_signal(signal.SIGINT)
        except KeyboardInterrupt:
            raise ImportError("incomplete") from None
    with pytest.raises(ZeroDivisionError), raising_interrupt():
        raise ZeroDivisionError


def test_the_handler_before_is_put_back():
    """After the block Ctrl-C is answered as before; where it was ignored, it is inside too."""
    before = signal.getsignal(signal.SIGINT)
    with raising_interrupt():
        pass
    assert signal.getsignal(signal.SIGINT) is before
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with handling_interrupt(lambda number, frame: pytest.fail("was to be ignored")):
            signal.raise_signal(signal.SIGINT)
    finally:
        signal.signal(signal.SIGINT, before)


def test_ctrl_c_while_compiling_leaves_nothing(tmp_path, monkeypatch, capsys):
    """Ctrl-C before anything is solved ends in 1 and one word, with no file written."""
    from small import TEXT

    (tmp_path / "small.toml").write_text(TEXT)
    monkeypatch.setattr(main_path, "warm_up", lambda closure: signal.raise_signal(signal.SIGINT))
    output = tmp_path / "run.h5"
    assert cli.main(["solve", str(tmp_path / "small.toml"), "--output", str(output), "--quiet"]) == 1
    assert capsys.readouterr().err == "interrupted\n"
    assert not output.exists()
