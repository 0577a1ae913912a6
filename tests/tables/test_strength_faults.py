"""Every check of the strength tables bites: each fault is planted in a copy and must be named."""

from __future__ import annotations

import re
import shutil

import pytest

from brachium.tables.check import faults
from brachium.tables.source import default_directory

# file, the text to replace (a pattern), what to put there, what the fault must say
PLANTED = {
    "computation gone": ("computations", r"\nforce-z-score,[^\n]*", "", "'force-z-score' is not"),
    "summary": ("norm_sets", r",mean,sitting", ",median,sitting", "summary 'median'"),
    "position": ("norm_sets", r",mean,sitting", ",mean,hovering", "position 'hovering'"),
    "set": ("force_norms", r"\nmathiowetz-1985,", "\nmathiowetz,", "set 'mathiowetz'"),
    "no force": ("force_norms", r",hand,grip,", ",elbow,flexion,", "is no force"),
    "unit": ("force_norms", r",lb,MATH", ",cm,MATH", "unit of grip 'cm'"),
    "ages": ("force_norms", r",20,24,", ",24,20,", "ages 24 to 20"),
    "overlap": ("force_norms", r",20,24,left", ",20,26,left", "overlaps in age"),
    "deviation": ("force_norms", r",(\d+\.\d),lb", ",0,lb", "standard deviation of 0"),
    "percentiles": (
        "force_percentiles",
        r"(,6,7,left(,[\d.]+){3}),[\d.]+",
        r"\1,99",
        "do not rise",
    ),
    "percentile overlap": ("force_percentiles", r",6,7,left", ",6,9,left", "overlaps in age"),
    "factor": ("dominance", r",1.1,", ",0,", "not above 0"),
    "dominance": ("dominance", r"hand,grip", "elbow,flexion", "is no force"),
    "direction": ("cutoffs", r",below,27", ",under,27", "direction 'under'"),
    "cut-off of nothing": ("cutoffs", r"low-force,hand,grip", "low-force,hand,clap", "no strength"),
    "cut-off sex": ("cutoffs", r"grip,male,60", "grip,man,60", "sex 'man'"),
    "cut-off unit": ("cutoffs", r",27,kg", ",27,stone", "unit 'stone'"),
    "cut-off ages": ("cutoffs", r"male,60,150", "male,160,150", "ages 160 to 150"),
    "cut-off result": ("cutoffs", r"\nlow-force,", "\nlow,", "'low' is not"),
    "sign": ("unfit", r"palpation,tenderness", "palpation,tickle", "palpation 'tickle'"),
    "limiter": ("unfit", r"limiter,pain", "limiter,boredom", "limiter 'boredom'"),
    "unfit joint": ("unfit", r"limiter,pain,elbow", "limiter,pain,knee", "joint 'knee'"),
    "score": ("scores", r"\nbeighton-arm,hand", "\nbeighton,hand", "'beighton' is not"),
    "score joint": ("scores", r"\nbeighton-arm,hand", "\nbeighton-arm,foot", "joint 'foot'"),
    "nobody asks": ("score_items", r"(abduction-pull.*),true,C", r"\1,false,C", "no item asks"),
    "item": ("score_items", r"strength,wrist,extension", "strength,wrist,wave", "no strength test"),
    "motion": ("score_items", r"motion,elbow,flexion", "motion,elbow,wave", "is no motion"),
    "item digit": ("score_items", r",,middle,", ",,thumb,", "digit 'thumb'"),
    "modes": ("score_items", r"flexion,extension,,active,", "flexion,extension,,,", "its modes"),
    "no factor": ("score_items", r",linear,0.2,", ",linear,,", "factor belongs"),
    "no points": ("score_items", r",points,,", ",linear,1,", "score_points.csv belong"),
    "gate": ("score_items", r",abduction,90,", ",abduction,,", "gate and gate_from"),
    "points of nothing": ("score_points", r"beighton-arm,30", "beighton-arm,90", "no such item"),
    "floor": ("score_points", r"beighton-arm,30,2,,", "beighton-arm,30,2,-20,", "no floor"),
    "floors rise": ("score_points", r"motion,10,2,120", "motion,10,2,220", "floors do not fall"),
    "parent": ("suppliers", r"nerve,radial,", "nerve,spinal,", "parent 'spinal'"),
    "branch first": ("suppliers", r",nerve,radial,120", ",nerve,ulnar,120", "come before"),
    "test": ("innervation", r"\nelbow,flexion,peri", "\nhand,grip,peri", "no graded test"),
    "digit": ("innervation", r",ring little,", ",ring thumb,", "digit 'thumb'"),
    "supplier": ("innervation", r",axillary,", ",axial,", "supplier 'axial'"),
    "mixed list": ("innervation", r"peripheral-nerve,radial", "peripheral-nerve,c5", "mixes"),
    "note": ("innervation_notes", r"\nelbow,flexion", "\nhand,grip", "no graded test"),
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
    found = faults(tmp_path / "tables")
    assert any(said in fault for fault in found), found
