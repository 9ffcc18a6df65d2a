"""Tables for a notebook: units stand in the headings, numbers without them."""

import pandas as pd

from sitelevels.workbook.say import units_table


def test_units_stand_in_the_headings() -> None:
    table = pd.DataFrame({"point": ["<b>A</b>"], "depth": [0.12345], "fall": [0.0125], "area": ["29.7"]})
    shown = units_table(table, depth="mm", fall="mm/m", area="m²")
    assert repr(shown).split() == ["point", "depth,", "mm", "fall,", "mm/m", "area,", "m²", "<b>A</b>", "123.5", "12.5", "29.7"]
    html = shown._repr_html_()
    assert "<b>A" not in html
    for words in ("depth, mm", "fall, mm/m", "area, m²", ">123.5<", ">12.5<"):
        assert words in html
    assert table["depth"].tolist() == [0.12345]
