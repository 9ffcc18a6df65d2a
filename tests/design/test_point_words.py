"""How places on one side or the other of what they meet are told."""

import pytest

from sitelevels import Brief, Finish, Meet, Plane, check_finish


@pytest.mark.parametrize(("old", "said"), [(10.0, "0.0 mm"), (10.0 + 4e-17, "0.0 mm"), (9.99, "10.0 mm above the old paving"),
                                           (10.01, "10.0 mm below the old paving")])
def test_what_lies_level_with_the_old_paving_is_on_neither_side_of_it(old: float, said: str) -> None:
    corners = [(0, 0), (4, 0), (4, 3), (0, 3)]
    brief = Brief(corners, demands=[Meet([("E", 0.0, 3.0, old)], 0.006)])
    found = check_finish(Finish.plane(Plane(10.0 - 4e-17, 0.0, 0.0), corners), brief)
    assert found.words["found"].tolist() == [said]
