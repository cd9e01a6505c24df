"""Plan-view mapper for located sewer laterals.

Three lines do the job: ``site = load_site(folder)``, ``route = adjust_route(site)``,
``report = build_report(site)``. Names are looked up when first used, so that importing the
package stays light.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOMES = {
    "load_site": "lateral_map.reading.folder",
    "adjust_route": "lateral_map.adjust.route",
    "build_report": "lateral_map.report",
}
__all__ = ["adjust_route", "build_report", "load_site"]
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
