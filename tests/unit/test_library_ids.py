"""Geometry is frozen: a task whose points, widths or dots change needs another revision.

A key is a task's id and its revision. After a change that is meant, raise the revision and
add its row; the old row stays, because trials of that revision are kept.
"""

import pytest

from analysis.guide import Guide
from analysis.identity import guide_id
from server.library import LIBRARY, placed, steps_of

ROOM_MM = {"tablet": (207.0, 136.0), "paper": (277.0, 190.0), "large_screen": (708.0, 398.0)}

# [N] our own output: by step, the id of the guide asked in the task's own direction.
STEPS = {
    "quay-edge/1": {
        24: "g1-2ae93c99efe7dc926327",
        18: "g1-a7037e5454356fce3081",
        12: "g1-522e7d481a5907f1c472",
        8: "g1-59e0616dc291af66d190",
        6: "g1-8efaaf5f1b098aeb38eb",
    },
    "flagpole/1": {
        24: "g1-bce3c3ed308191a9ce9f",
        18: "g1-d4d6ca516ff262cbfea6",
        12: "g1-be6f7a0b770b26dcacaa",
        8: "g1-d4e508e6eafb8db063be",
        6: "g1-d51f1c438b3216607028",
    },
    "gangway/1": {
        24: "g1-0006255c64ba3486c999",
        18: "g1-a89a68424b3a2b177f40",
        12: "g1-e7f018b29be81ec9fe7e",
        8: "g1-bb262dc164bed58748c2",
    },
    "high-bridge/1": {
        24: "g1-33674fc39730e0c766da",
        18: "g1-a1b850526ea4034b941c",
        12: "g1-5c28ceeab0a5debda825",
        8: "g1-900ad987251c024e67a7",
    },
    "low-bridge/1": {
        24: "g1-587017538dafeba17ba8",
        18: "g1-33836c28e0d4c2e796c5",
        12: "g1-910e030ac9d038199115",
        8: "g1-8630de38ac06b3972b0c",
    },
    "swell/1": {
        18: "g1-af992b0a07153d578bea",
        12: "g1-55b3359c86c50b338110",
        8: "g1-92fe60fc704746173729",
    },
    "buoy/1": {
        18: "g1-0daf2ee7dad140022f66",
        12: "g1-dab7ab0e50a299941dab",
        8: "g1-d643dd7527ea102323a0",
        6: "g1-959e32e68740c730faf9",
    },
    "hatch/1": {
        18: "g1-4090db68d72a39c2fe9c",
        12: "g1-7e7eda264c135cfcf4d6",
        8: "g1-23e7c27f19e608adecb3",
    },
    "sail-seam/1": {
        18: "g1-7180c174b0060c52be34",
        12: "g1-808e757c5e26bdfa41e1",
        8: "g1-2580302202ecedd98ede",
    },
    "two-islands/1": {
        18: "g1-1f020ebdf06de6ca6bef",
        12: "g1-ce89fc84f085716250ba",
        8: "g1-b3c662377d7d3991fbbe",
    },
    "slow-tide/1": {
        0.15: "g1-977abfa2e982de87ad53",
        0.1: "g1-977abfa2e982de87ad53",
        0.07: "g1-977abfa2e982de87ad53",
    },
    "portholes/1": {
        20: "g1-f0c919dbdedf278231c5",
        18: "g1-dbc86a1d14d97d5e52b5",
        12: "g1-08c6e5b7f2ad80f3e259",
        8: "g1-a4d73774d07d8bbe7e36",
    },
    "mooring-posts/1": {
        18: "g1-972d72058ade9fb2274e",
        12: "g1-cd0e0a891ebd8f69c3f4",
        8: "g1-f239f3ead981a9ccc9dc",
    },
    "night-beacons/1": {
        20: "g1-2236baf17120eb4b2f19",
        18: "g1-5b6ddb7f5551d569e37b",
        12: "g1-d309ad2ad4504043e944",
        10: "g1-af01d04600ac219904f5",
    },
    "two-oars/1": {
        24: "g1-75f10cabd6b92f66b059",
        18: "g1-0949fba929355baa7f51",
        12: "g1-d75c70404514310fb8b5",
    },
    "capstan/1": {
        24: "g1-c45d0468f20ce8c814d3",
        18: "g1-2c9b4671e02eb23484a7",
        12: "g1-9cc6621c2efc3ec1a06f",
    },
    "wide-bridge/1": {
        40: "g1-7b3ca27f58bf9a379c05",
        24: "g1-a8cf558b97d0a733a48d",
        16: "g1-51c08d55427a5f02aa4c",
    },
    "tar-line/1": {
        200: "g1-cdd204d1befb61a9c0d0",
    },
    "ticket-snips/1": {
        2: "g1-0a6101e671680d8f87a2",
        4: "g1-af2565b8c17a02edf5f4",
        6: "g1-601631b386f0093d05f9",
    },
    "rope-lengths/1": {
        25.4: "g1-77e21f65b7c4ad6549d5",
        12.7: "g1-3c1f8e13709d311a6c41",
        6.35: "g1-8fe6e8a873032f93cb22",
    },
    "bunting-curve/1": {
        25.4: "g1-ea95ef378d5ed4f6065c",
        12.7: "g1-83c1513d4fcf73e44fa0",
        6.35: "g1-2dd4c3eb7568e979a78c",
    },
    "life-ring/1": {
        25.4: "g1-ff99a488a6246c77c28d",
        12.7: "g1-1610c3555657848256ec",
        6.35: "g1-dbbea020558369ef2321",
    },
    "crate-card/1": {
        25.4: "g1-97fc87b377c3e612003c",
        12.7: "g1-03c3a892d65701628327",
        6.35: "g1-e85a90024bb542501cf8",
    },
    "punch-row/1": {
        12: "g1-5bb87441f2bc8bb42ef2",
        8: "g1-aae79fe62282d0fc99a3",
    },
}

# [N] our own output: the outline of what falls out of the paper.
TEMPLATES = {
    "ticket-snips/1": "g1-23e71c174cdd69be3047",
    "rope-lengths/1": "g1-23e71c174cdd69be3047",
    "bunting-curve/1": "g1-199ce99d2856d6e03e8c",
    "life-ring/1": "g1-c612fe5ca002cc715e8e",
    "crate-card/1": "g1-268875948267150b3b56",
}


def key_of(task: dict) -> str:
    return f"{task['task_id']}/{task['revision']}"


TASKS = pytest.mark.parametrize("task", LIBRARY, ids=key_of)


@TASKS
def test_the_guide_of_every_step_is_the_one_its_revision_was_given(task):
    room_mm = ROOM_MM[task["medium"]]
    found = {
        step.value: placed(task, step=step, screen_mm=room_mm)["id"] for step in steps_of(task)
    }
    assert found == STEPS[key_of(task)]


@pytest.mark.parametrize("task", [task for task in LIBRARY if "template" in task], ids=key_of)
def test_the_template_of_a_cut_is_the_one_its_revision_was_given(task):
    outline = Guide.from_points(task["template"]["points_mm"], closed=True)
    assert guide_id(outline) == TEMPLATES[key_of(task)]


@TASKS
def test_steps_of_one_task_that_differ_on_the_screen_have_ids_of_their_own(task):
    ids = set(STEPS[key_of(task)].values())
    # A band of pressure is not drawn.
    assert len(ids) == (1 if "needs" in task else len(steps_of(task)))
