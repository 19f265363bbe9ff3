"""Published results the defaults were not tuned to: reproduced, or missed and said so."""

from __future__ import annotations

import pytest

from tests.validation.findings import EXPLANATIONS, FINDINGS


@pytest.mark.source("each finding names its own, see tests/validation/findings.py")
@pytest.mark.parametrize("finding", FINDINGS, ids=lambda finding: finding.what)
def test_the_record_says_which_explanation_reproduces_it(finding):
    found = tuple(name for name in EXPLANATIONS if finding.inside(name))
    assert found == finding.reproduced_by, {n: finding.model(n) for n in EXPLANATIONS}


@pytest.mark.source("each finding names its own, see tests/validation/findings.py")
def test_no_explanation_reproduces_everything():
    """If one did, the product should no longer carry three."""
    for name in EXPLANATIONS:
        assert not all(name in finding.reproduced_by for finding in FINDINGS)
