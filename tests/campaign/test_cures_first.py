"""The first half of the short cures; two files, so that two processes share them."""

import pytest

from tests.campaign import batch
from tests.campaign.batch import Order
from tests.campaign.cases import assert_none_false, assert_none_missed
from tests.campaign.short_cures import half


@pytest.mark.proves("no fault of the catalogue is missed or told late")
@pytest.mark.proves("nothing wrong, no alarm")
@pytest.mark.parametrize("order", half(0), ids=lambda order: str(order.seed))
def test_every_fault_is_found_and_nothing_else_speaks(order: Order) -> None:
    found = batch.run([order], jobs=1)
    assert_none_missed(found)
    assert_none_false(found)
