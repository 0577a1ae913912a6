"""Every check of the tables bites: each fault is planted in a copy and must be named."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from brachium.problems import BrokenTables
from brachium.tables.check import faults
from brachium.tables.load import load
from brachium.tables.source import default_directory

# file, the text to replace (a pattern), what to put there, what the fault must say
PLANTED = {
    "header": ("model/digits.csv", r"digit,label", "digit,name", "header is"),
    "missing opening line": ("model/digits.csv", r"# reviewer.*\n", "", "no opening line"),
    "carriage return": ("model/digits.csv", r"\n", "\r\n", "LF alone"),
    "number": ("model/digits.csv", r",1,COMMON", ",one,COMMON", "order is 'one'"),
    "exponent": ("model/limits.csv", r",195,210,", ",1.95e2,210,", "plain decimal"),
    "boolean": ("model/signs.csv", r",true,false,", ",yes,false,", "true or false"),
    "word twice": ("model/joints.csv", r"index middle", "index index", "different words"),
    "space": ("model/joints.csv", r",Elbow,", ", Elbow,", "without spaces"),
    "cells": ("model/digits.csv", r",1,COMMON_PRACTICE", ",1", "4 cells, expected 5"),
    "key twice": ("model/digits.csv", r"\nindex,", "\nthumb,", "more than once"),
    "order": ("model/digits.csv", r",2,COMMON", ",9,COMMON", "not sorted"),
    "source": ("model/digits.csv", r"COMMON_PRACTICE\n", "HEARSAY\n", "not in sources.csv"),
    "digit of joint": ("model/joints.csv", r"ring little", "ring sixth", "digit 'sixth'"),
    "structure": ("model/joints.csv", r"elbow-region", "knee-region", "structure 'knee-region'"),
    "joint of motion": ("model/motions.csv", r"\nwrist,", "\nwrists,", "joint 'wrists'"),
    "measure": ("model/motions.csv", r",flexion,angle,", ",flexion,angel,", "'angel'"),
    "mode": ("model/motions.csv", r",deg,active passive,", ",deg,passiv,", "mode 'passiv'"),
    "no mode": ("model/motions.csv", r",deg,active passive,", ",deg,,", "no mode"),
    "arm position": ("model/motions.csv", r"at-side abducted", "aloft abducted", "'aloft'"),
    "scale": ("model/motions.csv", r",grade,fist,", ",grade,punch,", "scale 'punch'"),
    "unit": ("model/motions.csv", r",angle,,deg,", ",angle,,grad,", "unit 'grad'"),
    "no unit": ("model/motions.csv", r",angle,,deg,", ",angle,,,", "no unit"),
    "wrong dimension": (
        "model/motions.csv",
        r",angle,,deg,",
        ",angle,,cm,",
        "not entered for angle",
    ),
    "converted unit": (
        "model/motions.csv",
        r",angle,,deg,",
        ",angle,,rad,",
        "not entered for angle",
    ),
    "units of grade": ("model/motions.csv", r",grade,fist,,", ",grade,fist,deg,", "no units"),
    "opposite": ("model/motions.csv", r",supination,,10,", ",flexion,,10,", "back"),
    "sign of site": ("model/sites.csv", r"tenderness swelling", "ticklish swelling", "'ticklish'"),
    "no sign": (
        "model/sites.csv",
        r"thenar-eminence,,contour[a-z -]*,",
        "thenar-eminence,,,",
        "no sign",
    ),
    "site elsewhere": (
        "model/sites.csv",
        r"inspection,olecranon,Olecranon",
        "inspection,olecranon,Tip",
        "another place",
    ),
    "digits of site": (
        "model/sites.csv",
        r"mcp-joint-of-finger,index middle ring little",
        "mcp-joint-of-finger,index",
        "other digits",
    ),
    "no place": ("model/sites.csv", r",Palm,palm,", ",Palm,,", "needs a structure"),
    "paired and rated": ("model/signs.csv", "er,true,false", "er,true,true", "not rated"),
    "phrase": ("model/signs.csv", r"\{site\}", "it", "phrase"),
    "moves": ("model/strength.csv", r",supination,20,", ",rotation,20,", "'rotation'"),
    "strength scale": ("model/strength.csv", r"mrc-grade", "mcr-grade", "scale 'mcr-grade'"),
    "part missing": ("model/strength.csv", r"\nforearm,[^\n]*", "", "forearm has no strength"),
    "limit of nothing": ("model/limits.csv", r"\nwrist,flexion,", "\nwrist,fling,", "no motion or"),
    "limits crossed": ("model/limits.csv", r",195,210,", ",215,210,", "not between"),
    "limit of zero": ("model/limits.csv", r",195,210,", ",0,0,", "refuses everything"),
    "ages crossed": ("model/limits.csv", r",0,3,200,", ",3,3,200,", "not below"),
    "ages overlap": ("model/limits.csv", r",0,3,200,", ",0,4,200,", "overlaps in age"),
    "ages uncovered": ("model/limits.csv", r",3,150,195,", ",4,150,195,", "no limit for shoulder"),
    "limit below publication": ("model/limits.csv", r",195,210,", ",150,210,", "above the warning"),
    "limit missing": ("model/limits.csv", r"\nthumb-ip,[^\n]*", "", "no limit for thumb-ip"),
    "limit of force missing": (
        "model/limits.csv",
        r"\nhand,grip,,,,,[^\n]*",
        "",
        "no limit for hand grip",
    ),
    "limit direction": ("model/limits.csv", r",beyond,", ",above,", "direction 'above'"),
    "limit unit": ("model/limits.csv", r",10,15,cm,", ",10,15,deg,", "does not measure"),
    "limit sex": ("model/limits.csv", r",female,", ",feminine,", "sex 'feminine'"),
    "limit arm": (
        "model/limits.csv",
        r"elbow,flexion,,,",
        "elbow,flexion,,at-side,",
        "does not belong",
    ),
    "limit digit": ("model/limits.csv", r"beyond,,little,", "beyond,,sixth,", "digit 'sixth'"),
    "base": ("model/units.csv", r"force,kg,1,", "force,kg,2,", "no base unit"),
    "factor": ("model/units.csv", r"length,cm,0.1,", "length,cm,-0.1,", "not above 0"),
    "two defaults": ("model/methods.csv", r"Goniometer,false", "Goniometer,true", "2 defaults"),
    "no default": ("model/methods.csv", r",palpation,,,,true", ",palpation,,,,false", "0 defaults"),
    "method of nothing": (
        "model/methods.csv",
        r",motion,grade,",
        ",motion,force,",
        "fits no finding",
    ),
    "range of nothing": (
        "reference/ranges.csv",
        r"\nwrist,flexion,",
        "\nwrist,fling,",
        "no motion in degrees",
    ),
    "range arm": (
        "reference/ranges.csv",
        r"\nwrist,flexion,,",
        "\nwrist,flexion,at-side,",
        "does not belong",
    ),
    "range ages": ("reference/ranges.csv", r",18,55,20,", ",55,18,20,", "ages 55 to 18"),
    "error of nothing": ("reference/errors.csv", r"\nwrist,", "\nknee,", "joint 'knee'"),
    "error of zero": ("reference/errors.csv", r",10,,OWN", ",0,,OWN", "not above 0"),
    "error without either": ("reference/errors.csv", r",10,,OWN", ",,,OWN", "neither a value nor"),
    "error of no motion": (
        "reference/errors.csv",
        r"\nelbow,flexion,",
        "\nelbow,fling,",
        "no motion in degrees",
    ),
    "error by no method": (
        "reference/errors.csv",
        r"active,inclinometer,different",
        "active,spirit-level,different",
        "method 'spirit-level'",
    ),
    "error by no instrument": (
        "reference/errors.csv",
        r"active,inclinometer,different",
        "active,angle-instrument-not-stated,different",
        "names no instrument",
    ),
    "error between one method": (
        "reference/errors.csv",
        r",goniometer inclinometer,",
        ",goniometer,",
        "different methods are two",
    ),
    "error in no situation": (
        "reference/errors.csv",
        r",different-methods,",
        ",any,",
        "needs a situation",
    ),
    "system": ("codes/codes.csv", r"\nyes-no,", "\nyes-and-no,", "not in systems.csv"),
    "loinc digit": ("codes/codes.csv", r"41295-7", "41295-8", "wrong check digit"),
    "snomed digit": ("codes/codes.csv", r"85856004", "85856005", "wrong check digit"),
    "snomed partition": ("codes/codes.csv", r"85856004", "85856117", "wrong check digit"),
    "low confidence": (
        "codes/codes.csv",
        r",active,medium,",
        ",active,low,",
        "only high and medium",
    ),
    "medium verified": (
        "codes/codes.csv",
        r",medium,false,",
        ",medium,true,",
        "verified, although",
    ),
    "status": ("codes/codes.csv", r",active,high,", ",activ,high,", "status 'activ'"),
    "map to unknown": ("codes/maps.csv", r"loinc,41355-9", "loinc,41355-8", "not in codes.csv"),
    "map from unknown": (
        "codes/maps.csv",
        r"palpation-effusion",
        "palpation-elation",
        "no concept",
    ),
    "relationship": ("codes/maps.csv", r",equivalent,", ",similar,", "relationship 'similar'"),
    "map side": ("codes/maps.csv", r",left,loinc", ",links,loinc", "side 'links'"),
    "map to other side": (
        "codes/maps.csv",
        r",left,loinc,83173-5",
        ",left,loinc,83174-3",
        "names side",
    ),
    "map of an end": ("codes/maps.csv", r",straight,", ",always,", "does not fit"),
    "structure to other side": (
        "codes/structures.csv",
        r"5951000,9736006",
        "9736006,5951000",
        "names side",
    ),
    "structure code": ("codes/structures.csv", r"8205005,", "8205006,", "not in codes.csv"),
    "one side only": ("codes/structures.csv", r"5951000,9736006", "5951000,", "only one side"),
    "sides without middle": ("codes/structures.csv", r"8205005,5951000", ",5951000", "side-free"),
    "unit code": ("model/units.csv", r"\[in_i\]", "[in_us]", "not in codes.csv"),
    "axes missing": ("codes/loinc_axes.csv", r"\n83173-5[^\n]*", "", "no row in loinc_axes.csv"),
    "axes of another": (
        "codes/loinc_axes.csv",
        r"Grip strength Hand - left",
        "Grip",
        "with this name",
    ),
    "schema only": ("sources.csv", r"\nAAOS,[^\n]*", "\nAAOS,", "citation"),
}


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    return Path(shutil.copytree(default_directory(), tmp_path / "mappings"))


def plant(directory: Path, file: str, pattern: str, text: str) -> None:
    path = directory / file
    before = path.read_bytes().decode()
    after = re.sub(pattern, lambda _: text, before)
    assert after != before, f"{pattern} is nowhere in {file}"
    path.write_bytes(after.encode())


@pytest.mark.parametrize("name", PLANTED)
def test_trm_tables_check_names_a_planted_fault(copy, name):
    file, pattern, text, said = PLANTED[name]
    plant(copy, file, pattern, text)
    found = faults(copy)
    assert any(said in fault for fault in found), found
    if name == "schema only":
        return
    with pytest.raises(BrokenTables) as stopped:
        load(copy)
    assert any(said in fault for fault in stopped.value.faults)


def test_trm_03_a_map_to_a_deprecated_code_is_refused(copy):
    plant(copy, "codes/maps.csv", r"loinc,56047-4", "loinc,41383-1")
    with pytest.raises(BrokenTables) as stopped:
        load(copy)
    assert any("41383-1 is deprecated" in fault for fault in stopped.value.faults)


def test_every_fault_is_listed_with_file_and_line(copy):
    plant(copy, "model/digits.csv", r",1,COMMON", ",one,COMMON")
    plant(copy, "codes/codes.csv", r"41295-7", "41295-8")
    with pytest.raises(BrokenTables) as stopped:
        load(copy)
    said = str(stopped.value)
    assert re.search(r"model/digits\.csv:\d+: order is 'one'", said)
    assert re.search(r"codes/codes\.csv:\d+: loinc 41295-8: wrong check digit", said)


def test_two_rows_that_make_the_same_concept_are_a_fault(copy):
    plant(copy, "model/qualifiers.csv", r"\ntrial,", "\npalpation-warmth,")
    assert any("palpation-warmth is made twice" in fault for fault in faults(copy))


@pytest.mark.parametrize("file", ["model/joints.csv", "EDITION", "schemas/joints.schema.json"])
def test_a_missing_file_is_a_fault(copy, file):
    (copy / file).unlink()
    assert any(file in fault and "missing" in fault for fault in faults(copy))


def test_bytes_that_are_not_utf_8_are_a_fault(copy):
    (copy / "model/digits.csv").write_bytes(b"\xff\n")
    assert any("not UTF-8" in fault for fault in faults(copy))


def test_an_empty_directory_is_all_faults(tmp_path):
    assert faults(tmp_path)
    with pytest.raises(BrokenTables):
        load(tmp_path)
