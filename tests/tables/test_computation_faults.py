"""Every check of what is computed bites: each fault is planted in a copy and must be named."""

from __future__ import annotations

import re
import shutil

import pytest

from brachium.tables.check import faults
from brachium.tables.source import default_directory

# file, the text to replace (a pattern), what to put there, what the fault must say
PLANTED = {
    "computation gone": ("computations", r"\narc-of-motion,[^\n]*", "", "'arc-of-motion' is not"),
    "unit": ("computations", r"/1.0,cm,", "/1.0,ell,", "unit 'ell'"),
    "rule": ("computations", r"fist-closure/1.0", "fist-closure", "does not match"),
    "axis": ("axes", r"\nelbow,extension,flexion", "\nelbow,extension,pronation", "not opposite"),
    "axis turned": ("axes", r"\nelbow,extension,flexion", "\nelbow,flexion,extension", "no angle"),
    "plane": ("axes", r"flexion,S,", "flexion,Q,", "is not one of"),
    "window": ("windows", r"elbow,flexion,30", "elbow,extension,30", "counts extension positive"),
    "window turned": ("windows", r",30,130,", ",130,30,", "low is not below high"),
    "chain joint": ("chains", r"finger-pip finger-dip,", "finger-pip toe,", "joint 'toe'"),
    "chain digits": ("chains", r"finger-pip finger-dip,", "finger-pip thumb-ip,", "same digits"),
    "chain motion": ("chains", r",flexion,extension,", ",extension,flexion,", "recorded as angle"),
    "chain mode": ("chains", r",passive,", ",passiv,", "mode 'passiv'"),
    "chain result": ("chains", r"total-passive-motion,finger", "total,finger", "'total' is not"),
    "no norm": ("chains", r",175,true,", ",,true,", "needs a norm"),
    "percent of nothing": ("chains", r",260,false,", ",,false,", "percent of no norm"),
    "bands of nothing": ("bands", r"motion,finger,Eaton", "motion,foot,Eaton", "no such chain"),
    "gap below": ("bands", r",degrees,,true,poor", ",degrees,10,true,poor", "has no floor"),
    "floors rise": ("bands", r",180,true,", ",380,true,", "floors do not fall"),
    "ranks": ("bands", r"Eaton,4,", "Eaton,5,", "count from 1"),
    "reach": ("reaches", r",hand,fist,", ",hand,clap,", "is no grade and no distance"),
    "reach of a distance": ("reaches", r"pulp-to-palm,true,", "pulp-to-palm,false,", "compared"),
    "words": ("reaches", r"lower,higher", ",", "more and less"),
    "against": ("reaches", r",,,pulp-to-palm,", ",,,fist,", "is no distance of the joint"),
    "ratio": ("ratios", r",c7-to-thumb,active,", ",flexion,active,", "flexion is no distance"),
    "ratio mode": ("ratios", r",passive,behind", ",active,behind", "is not recorded active"),
    "ratio difference": ("ratios", r"ratio-difference,0", "ratio-other,0", "ratio-other' is not"),
    "ratio scale": ("ratios", r",vertebral-level,", ",mrc-grade,", "grade of 'mrc-grade' 'T4'"),
    "ratio grade": ("ratio_levels", r",T7,", ",T77,", "'T77' is not"),
    "ratio order": ("ratio_levels", r",T7,39", ",L5,39", "do not follow the order"),
    "ratio place": ("ratio_levels", r",T7,39", ",T7,21", "lie at one place"),
    "level of no ratio": ("ratio_levels", r"ratio,L4,", "rest,L4,", "ratio 'behind-back-rest'"),
    "evidence": ("windows", r"MORREY_1981,seen", "MORREY_1981,believed", "is not one of"),
}


@pytest.mark.parametrize("name", PLANTED)
def test_fault_is_found(name, tmp_path):
    table, pattern, instead, said = PLANTED[name]
    shutil.copytree(default_directory(), tmp_path / "tables")
    file = tmp_path / "tables" / "reference" / f"{table}.csv"
    text = file.read_text("utf-8")
    changed, count = re.subn(pattern, instead, text, count=1)
    assert count == 1, "the pattern fits nothing any more"
    file.write_text(changed, "utf-8")
    assert any(said in fault for fault in faults(tmp_path / "tables")), faults(tmp_path / "tables")
