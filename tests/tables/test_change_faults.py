"""Every check of what counts as a change bites: each planted fault must be named."""

from __future__ import annotations

import re
import shutil

import pytest

from brachium.tables.check import faults
from brachium.tables.load import load
from brachium.tables.source import default_directory

# the text to replace (a pattern), what to put there, what the fault must say
PLANTED = {
    "measure": (r"\ndistance,", "\nlength,", "measure 'length'"),
    "motion": (r"distance,pulp-to-palm", "distance,fist", "'cm' is no base unit of distance"),
    "test": (r"force,grip,any,20,150,1", "force,flexion,any,20,150,1", "no base unit of force"),
    "scale": (r"grade,fist", "grade,clap", "scale 'clap'"),
    "unit": (r",less,from,1,cm,", ",less,from,1,kg,", "'kg' is no base unit of distance"),
    "small unit": (r",less,from,1,cm,", ",less,from,10,mm,", "'mm' is no base unit of distance"),
    "unit of a grade": (
        r"fist,any,0,150,0,more,from,1,,",
        "fist,any,0,150,0,more,from,1,cm,",
        "step",
    ),
    "nothing": (r"fist,any,0,150,0,more,from,1,", "fist,any,0,150,0,more,from,0,", "not above 0"),
    "ages": (r"fist,any,0,150,", "fist,any,150,0,", "ages 150 to 0"),
    "trials of a grade": (r"fist,any,0,150,0,", "fist,any,0,150,3,", "3 trials of a grade"),
    "force without trials": (r"grip,any,20,150,1,", "grip,any,20,150,0,", "0 trials of a force"),
    "both ways": (r"male,20,150,3,more", "male,20,150,3,less", "says the opposite"),
    "sex": (r"fist,any,", "fist,boy,", "sex 'boy'"),
    "direction": (r"less,above,1", "less,around,1", "direction 'around'"),
    "better": (r"0,less,above", "0,lower,above", "better 'lower'"),
    "source": (r",EDWARDS_2002,", ",EDWARDS_2020,", "EDWARDS_2020"),
}


@pytest.mark.parametrize("name", PLANTED)
def test_fault_is_found(name, tmp_path):
    pattern, instead, said = PLANTED[name]
    shutil.copytree(default_directory(), tmp_path / "tables")
    file = tmp_path / "tables" / "reference" / "changes.csv"
    text = file.read_text("utf-8")
    changed, count = re.subn(pattern, instead, text, count=1)
    assert count == 1, "the pattern fits nothing any more"
    file.write_text(changed, "utf-8")
    found = faults(tmp_path / "tables")
    assert any(said in fault and "changes.csv" in fault for fault in found), found


def test_every_grade_and_distance_has_a_row():
    tables = load()
    graded = {("grade", row.scale) for row in tables.motions.values() if row.measure == "grade"}
    graded |= {("grade", row.scale) for row in tables.strength.values() if row.measure == "grade"}
    far = {("distance", row.motion) for row in tables.motions.values() if row.measure == "distance"}
    assert graded | far <= set(tables.changes)


# table of measurement errors of the shared reference: computed from the 14,984 people
def test_the_errors_of_grip_are_those_of_the_source(shared_dir):
    text = (shared_dir / "reference" / "measurement_error.csv").read_text("utf-8")
    rows = load().changes["force", "grip"]
    for sex, words in (("male", "men >=20"), ("female", "women >=20")):
        (line,) = [
            one
            for one in text.splitlines()
            if one.startswith("hand") and f" {words}" in one and f'{words}"' in one
        ]
        figures = re.search(r"([\d.]+) / ([\d.]+) / ([\d.]+) kg", line)
        ours = {row.trials: str(row.value) for row in rows if row.sex == sex}
        assert ours == {1: figures[2], 3: figures[3]}
    assert "MCID,5.0-6.5 kg,BOHANNON_2019_MCID,seen" in text
    assert {str(row.value) for row in rows if row.source == "BOHANNON_2019_MCID"} == {"5"}
