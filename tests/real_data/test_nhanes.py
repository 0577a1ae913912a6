"""All 14,984 people of NHANES 2011-2014 through the whole service, over HTTP.

Source: CDC/NCHS, National Health and Nutrition Examination Survey, grip test (MGX_G, MGX_H) and
demographics, US public domain. The survey's own combined grip, the sum of the best trial of each
hand, is the figure from outside that the bundles are held against.
"""

from __future__ import annotations

import http.client
import itertools
import time
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from typing import Any

import jiter
import pytest
from tests.cli.test_serve import Running
from tests.oracles.judge import judge_structure
from tests.real_data.nhanes import EXAMINED, people, posted

LANES = 4
HEADERS = {"Content-Type": "application/json", "Prefer": "return=representation"}
PEOPLE = {"2011-2012": 7177, "2013-2014": 7807}
# a boy of six with 0 kg in the first trial of the left hand and no reason given for it
REFUSED = {"2011-2012": {"69381": ["force-zero"]}, "2013-2014": {}}


def answers(port: int, bodies: list[bytes]) -> list[tuple[int, bytes]]:
    """Post the bodies over one kept connection."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    given = []
    for body in bodies:
        connection.request("POST", "/exams", body, HEADERS)
        answer = connection.getresponse()
        given.append((answer.status, answer.read()))
    connection.close()
    return given


def resources(bundle: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    found = (entry["resource"] for entry in bundle["entry"])
    return [resource for resource in found if resource["resourceType"] == kind]


def reasons(body: bytes) -> list[str]:
    """Return the codes of the errors in a refusal."""
    problems = jiter.from_json(body)["problems"]
    return [problem["code"] for problem in problems if problem["severity"] == "error"]


def best_grips(bundle: dict[str, Any], exam: str) -> dict[str, Decimal]:
    """Return the value of each hand's grip Observation, by finding key."""
    best = {}
    for observation in resources(bundle, "Observation"):
        value = observation["identifier"][0]["value"]
        key = value.removeprefix(f"{exam}/")
        if key in ("grip-right", "grip-left") and "valueQuantity" in observation:
            best[key] = Decimal(str(observation["valueQuantity"]["value"]))
    return best


def trials(bundle: dict[str, Any]) -> int:
    """Count the trials that came through as components."""
    components = itertools.chain.from_iterable(
        observation.get("component", ()) for observation in resources(bundle, "Observation")
    )
    return sum(
        coding["code"] == "trial"
        for component in components
        for coding in component["code"]["coding"]
    )


@pytest.mark.parametrize("cycle", sorted(EXAMINED))
def test_exm_01_obs_04_every_person_of_the_survey_comes_through(cycle, shared_dir, tmp_path):
    everyone = [person for person in people(shared_dir) if person["cycle"] == cycle]
    assert len(everyone) == PEOPLE[cycle]
    bodies = [posted(person) for person in everyone]
    service = Running(tmp_path)
    start = time.perf_counter()
    with ThreadPoolExecutor(LANES) as pool:
        lanes = [bodies[lane::LANES] for lane in range(LANES)]
        by_lane = list(pool.map(lambda lane: answers(service.port, lane), lanes))
    rate = len(bodies) / (time.perf_counter() - start)
    service.stop()
    print(f"\n{cycle}: {rate:.0f} exams a second over HTTP, {LANES} clients")

    given = [by_lane[place % LANES][place // LANES] for place in range(len(bodies))]
    refused = {
        person["seqn"]: reasons(body)
        for person, (status, body) in zip(everyone, given, strict=True)
        if status != http.HTTPStatus.CREATED
    }
    assert refused == REFUSED[cycle]
    combined = 0
    for person, (status, body) in zip(everyone, given, strict=True):
        if status != http.HTTPStatus.CREATED:
            continue
        bundle = jiter.from_json(body, float_mode="decimal")
        assert judge_structure(bundle) == []
        done = sum(bool(person[f"{hand}{number}_kg"]) for hand in "RL" for number in (1, 2, 3))
        assert trials(bundle) == done
        if person["combined_kg"]:
            combined += 1
            best = best_grips(bundle, person["seqn"])
            assert sum(best.values()) == Decimal(person["combined_kg"]), person["seqn"]
    asked = {person["seqn"] for person in everyone if person["combined_kg"]}
    assert combined == len(asked - refused.keys())
