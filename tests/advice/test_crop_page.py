"""The guide's page on the crop prints the priors that the estimates rest on."""

from __future__ import annotations

import math
import re

import pytest

from vinebook.advice.crop_history import CLUSTERS_PRIORS, FACTOR_PRIORS, PER_NODE_PRIORS, WEIGHT_PRIORS
from vinebook.resources import guide_folder

PAGE = (guide_folder() / "crop.md").read_text(encoding="utf-8")
PRIORS = {
    "growth factor from lag phase": FACTOR_PRIORS["lag_phase"],
    "growth factor from veraison": FACTOR_PRIORS["veraison"],
    "cluster weight at harvest": WEIGHT_PRIORS,
    "clusters ÷ nodes kept": PER_NODE_PRIORS,
    "clusters of a vine": CLUSTERS_PRIORS,
}


@pytest.mark.parametrize("name", PRIORS)
def test_the_page_prints_the_priors_of_every_number(name: str) -> None:
    line = re.search(rf"^\| {name} \|(.*)\|$", PAGE, re.MULTILINE)
    assert line is not None
    printed = [float(number) for number in re.findall(r"\d+(?:\.\d+)?", line[1])]
    priors = PRIORS[name]
    assert printed == pytest.approx([math.exp(priors.centre), *priors[1:]])
