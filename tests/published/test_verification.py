"""Every check of `swirlwright verify`, as the command runs it."""

from __future__ import annotations

import json

import pytest

from swirlwright import cli
from swirlwright.verification.catalogue import CATALOGUE
from swirlwright.verification.checks import Check, Configuration, Findings, Picture
from swirlwright.verification.page import write_page
from swirlwright.verification.run import QUICK_SECONDS, Outcome, Verification, selected, verify

# Longer ones, among them all chaotic flows, are left to `swirlwright verify`.
LONGEST = 14.0
QUICK = [c for c in CATALOGUE if c.seconds <= QUICK_SECONDS]
SLOW = [c for c in CATALOGUE if QUICK_SECONDS < c.seconds <= LONGEST]
# What fails, each with its explanation beside it; one more, or one less, is news.
KNOWN_TO_FAIL = {
    "round-jet": {"half width at x = 50 d, over d"},
    "row-of-jets": {"growth of the half width, merged"},
    "vanes-200": {
        "S where breakdown appears aloft",
        "S where breakdown reaches the floor",
        "S where there are two cells",
    },
    "vanes-500": {"S where breakdown reaches the floor", "S where there are two cells"},
    "pipe-mixing-length": {"f, Re 2e4", "speed on the axis over the mean, Re 2e4"},
}
KINDS = {"analytic", "published", "reference library", "common practice", "from memory"}


def judged(configuration: Configuration) -> set[str]:
    """The quantities that fail, once every check of the configuration is found complete."""
    findings = configuration.run()
    assert 1 <= len(findings.checks) <= 4
    for check in findings.checks:
        assert check.kind in KINDS and check.source and check.why and check.tolerance > 0.0
        assert check.passed or check.note, f"{check.quantity}: {check.computed:g} beside {check.expected:g}"
    return {check.quantity for check in findings.checks if not check.passed}


@pytest.mark.parametrize("configuration", QUICK, ids=lambda c: c.name)
def test_quick_configurations(configuration):
    """Checks of a few seconds: just those known to fail do, all others are within their own tolerances."""
    assert judged(configuration) == KNOWN_TO_FAIL.get(configuration.name, set())


@pytest.mark.slow
@pytest.mark.parametrize("configuration", SLOW, ids=lambda c: c.name)
def test_slow_configurations(configuration):
    """Checks of up to a quarter of a minute: just those known to fail do, all others are within their tolerances."""
    assert judged(configuration) == KNOWN_TO_FAIL.get(configuration.name, set())


def test_the_catalogue_is_as_large_as_it_should_be():
    """At least 20 configurations of unique names; the quick ones together take under a minute on two cores."""
    assert len(CATALOGUE) >= 20
    assert len({c.name for c in CATALOGUE} | {c.group for c in CATALOGUE}) == len(CATALOGUE) + len(
        {c.group for c in CATALOGUE}
    )
    assert sum(c.seconds for c in QUICK) < 100.0
    assert selected(["air network"], quick=True)


def test_the_command_prints_json_and_a_page(tmp_path, capsys):
    """One object with a list of checks, of the asked group only; the page names each source; status 0."""
    page = tmp_path / "page.html"
    assert cli.main(["verify", "lamb-oseen", "fixed-cylinder", "--json", "--quiet", "--report", str(page)]) == 0
    rows = json.loads(capsys.readouterr().out)["checks"]
    assert {row["name"] for row in rows} == {"lamb-oseen", "fixed-cylinder"}
    keys = {"name", "group", "quantity", "computed", "expected", "tolerance", "passed", "source", "kind"}
    assert all(keys <= set(row) for row in rows)
    text = page.read_text()
    assert all(row["source"] in text for row in rows)
    assert text.count("<svg") == 2


def test_an_unknown_name_is_told_what_there_is(capsys):
    """Status 2, and one message with all groups and names."""
    assert cli.main(["verify", "nonsense"]) == 2
    said = capsys.readouterr().err
    assert "nonsense" in said and "lamb-oseen" in said and "vortices" in said


def test_a_check_that_fails_and_one_that_breaks_are_shown(tmp_path):
    """Neither is lost: both are in sheet, JSON and page, with the explanation, and the whole does not pass."""
    check = Check("speed", 2.0, 1.0, 0.1, "Somebody 1900", "published", "printed digits", "the model lacks it")
    failing = Configuration("failing", "group", "a flow", verify, 1.0)
    found = Verification(
        (
            Outcome(failing, Findings((check,), Picture("x", "y", ()))),
            Outcome(Configuration("breaking", "group", "another", verify, 1.0), None, "ValueError: no"),
        )
    )
    assert not found.passed
    assert "0 of 2 checks passed" in found.summary()
    assert "the model lacks it" in found.text() and "ValueError: no" in found.text()
    assert [row["passed"] for row in found.as_json()["checks"]] == [False, False]
    write_page(found, tmp_path / "page.html")
    assert "the model lacks it" in (tmp_path / "page.html").read_text()
