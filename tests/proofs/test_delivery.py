"""The proof of delivery, small, so that a change that loses messages fails the suite of the full size."""

import os

import pytest

from tests.proofs.delivery import is_met, running

pytestmark = [pytest.mark.full, pytest.mark.slow]


@pytest.mark.parametrize("broker", ["redis", "rabbitmq"])
def test_no_message_is_lost_whatever_is_killed(broker: str) -> None:
    if broker == "rabbitmq" and "RABBITMQ_URL" not in os.environ:
        pytest.skip("RABBITMQ_URL names no broker.")
    with running(200, broker) as proof:
        missed = [line for line in proof.judge() if not is_met(line[1], line[2])]
    assert missed == []


def test_table_is_judged() -> None:
    assert is_met(0, "= 0") and not is_met(1, "= 0")
    assert is_met(3, "<= 3") and not is_met(4, "<= 3")
    assert is_met(1, ">= 1") and not is_met(0, ">= 1")
    assert is_met(7, "")
