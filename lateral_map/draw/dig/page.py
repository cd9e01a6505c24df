"""The dig review as one HTML file: the map with its own layers, and everything said beside it.

The map works as on the map page, from the same data and scripts; what is in words is written into
the page here, escaped by the template.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

from markupsafe import Markup
from shapely import get_coordinates

from lateral_map.draw.data import data_json, map_data, view_points
from lateral_map.draw.dig.layers import DIG_LAYER_KEYS, dig_layers
from lateral_map.draw.dig.section import section_svg
from lateral_map.draw.dig.tables import (
    conflicts_table,
    depth_table,
    nulls_table,
    reach_tables,
    refind_table,
    rules_table,
)
from lateral_map.draw.page import (
    asset,
    content_policy,
    leaflet_css,
    leaflet_js,
    map_centre,
    map_frame,
    page_script,
    page_template,
)
from lateral_map.draw.plan.layers import LAYER_KEYS
from lateral_map.draw.profile.trench import dig_profile
from lateral_map.draw.style import DIG_STYLES, style_values
from lateral_map.model.dig import DigReview
from lateral_map.words.cautions import DIG_CAUTIONS
from lateral_map.words.excavator import (
    DIG_NOTES,
    dig_facts,
    dig_notices,
    reach_facts,
    reach_title,
    swell_words,
    tolerance_note,
    urgent_lines,
)
from lateral_map.words.methods import method_cautions
from lateral_map.words.numbers import all_apart, label, tidy

# What the excavator looks for first; the plan's own layers follow. A picture, at first off, would
# give the zones' colours another meaning.
_HIDDEN: Final = frozenset({"picture", "ties", "corridor", "next", "responsibility"})


def dig_page(review: DigReview) -> str:
    """Return the dig review as one self-contained HTML text, the same for the same site."""
    report = review.report
    keys = (*LAYER_KEYS, *DIG_LAYER_KEYS)
    frame = map_frame(map_centre(report), keys=keys)
    styles = (leaflet_css(), asset("page.css"), asset("dig.css"), asset("dark.css"))
    scripts = (leaflet_js(), frame.script, page_script())
    reaches = []
    for one in review.reaches:
        said = {
            method.name: method_cautions(one, method.name, one.rules, report.site.unit)
            for method in one.methods
        }
        # What every open cut asks is said once.
        *open_cuts, _ = said.values()
        shared = [words for words in open_cuts[0] if all(words in each for each in open_cuts)]
        cautions = [("However it is opened", shared)]
        cautions += [(name, [w for w in each if w not in shared]) for name, each in said.items()]
        cautions = [(name, [tidy(words, 300) for words in each]) for name, each in cautions if each]
        # Figures and numbers of our own, serialised as XML.
        wide, narrow = (Markup(section_svg(review, one, narrow=slim)) for slim in (False, True))  # noqa: S704
        reaches.append(
            {
                "name": label(one.reach.name, 40),
                "title": reach_title(one.reach, report.site.unit),
                "facts": reach_facts(review, one),
                "tables": reach_tables(review, one),
                "cautions": cautions,
                "wide": wide,
                "narrow": narrow,
            }
        )
    return str(
        page_template("dig.html.j2").render(
            policy=content_policy(styles, scripts),
            styles=[Markup(style) for style in styles],  # noqa: S704  # our own files
            scripts=[Markup(script) for script in scripts],  # noqa: S704  # our own files
            map_html=Markup(frame.html),  # noqa: S704  # constants only
            data=Markup(data_json(_page_data(review))),  # noqa: S704  # no < or > left in it
            site_name=tidy(report.site.name, 120) or "Unnamed site",
            urgent=urgent_lines(review),
            cautions=DIG_CAUTIONS,
            reaches=reaches,
            swell=swell_words(review),
            conflicts=conflicts_table(review),
            refind=refind_table(review),
            depths=depth_table(review),
            nulls=nulls_table(review),
            rules=rules_table(review),
            notes=DIG_NOTES | {"tolerance": tolerance_note(review)},
        )
    )


def _page_data(review: DigReview) -> dict[str, Any]:
    """Return the map page's data with the dig review's layers, styles, facts and profile."""
    data = map_data(review.report, extra=dig_layers(review), widths=())
    # What is urgent heads the page.
    notices = dig_notices(review)[len(urgent_lines(review)) :]
    for layer in data["layers"]:
        if layer["key"] in _HIDDEN:
            layer["shown"] = False
    # The view holds every cut and its spoil line too.
    kept = [
        get_coordinates(each.kept_back.convex_hull.simplify(0.1))
        for one in review.reaches
        for each in one.opened
    ]
    must = [*data["view"]["must"], *(view_points(kept) if kept else [])]
    shown = {
        "view": data["view"] | {"must": must},
        "style": data["style"] | style_values(DIG_STYLES),
        "key": [*reversed(DIG_LAYER_KEYS), *(k for k in data["key"] if k not in DIG_LAYER_KEYS)],
        "facts": list(map(asdict, dig_facts(review))),
        "notices": [tidy(words, 300) for words in notices],
        "tables": [],
        "cautions": list(DIG_CAUTIONS),
        "profiles": {
            "wide": dig_profile(review, narrow=False),
            "narrow": dig_profile(review, narrow=True),
        },
    }
    return data | dict(all_apart(shown))
