"""What a public-works desk's own form asks for: what the site says of it, and what it does not."""

from __future__ import annotations

from lateral_map.model.referral import CameraDirection
from lateral_map.model.results import Report, TapStation
from lateral_map.words.numbers import label, length, plus_minus, tidy, with_capital

_WENT: dict[CameraDirection, str] = {
    "downstream": "downstream, with the flow",
    "upstream": "upstream, against the flow",
}


def desk_rows(report: Report) -> list[tuple[str, str]]:
    """Return (what a form asks for, what the site says); what is missing is left out."""
    job, main, referral = report.site.job, report.site.main, report.site.referral
    manholes = [
        f"{label(name, 120)} {where}"
        for name, where in ((main.upstream, "upstream"), (main.downstream, "downstream"))
        if name
    ]
    went = [_WENT[job.camera_direction]] if job.camera_direction else []
    urgency = [job.urgency or "", job.urgency_ground]
    rows = [
        ("Urgency", with_capital(": ".join(filter(None, urgency)))),
        ("Service address", job.address),
        ("Parcel", job.parcel),
        ("Permit", job.permit),
        ("Work order", job.work_order),
        ("Owner", ", ".join(filter(None, (job.owner, job.contact)))),
        ("Sent for", label(referral.client, 120)),
        ("Inspector", job.inspector),
        ("Certificate", job.certificate),
        (
            "Camera in at" if job.access_point else "Camera went",
            ", ".join(filter(None, (job.access_point, *went))),
        ),
        ("Video", ", ".join(filter(None, (job.video, job.video_time)))),
        ("Main", ", ".join(filter(None, (main.asset, *manholes)))),
        ("Tap on the main", tap_words(report.tap, report.site.unit) if report.tap else ""),
        ("Vertical datum", job.vertical_datum),
    ]
    return [(name, tidy(said, 400)) for name, said in rows if said]


def tap_words(tap: TapStation, unit: str) -> str:
    """Say how far along the main the tap is, by the plan and as read, and whether they agree."""
    manhole, said = label(tap.manhole, 120), []
    if tap.station_m is not None and tap.sd_station_m is not None:
        said.append(
            f"{plus_minus(tap.station_m, tap.sd_station_m, unit)} from {manhole} by the plan"
        )
    if tap.typed_m is not None and tap.sd_typed_m is not None:
        read = plus_minus(tap.typed_m, tap.sd_typed_m, unit)
        said.append(f"{read} {'' if said else f'from {manhole} '}as read in the main")
    words = "; ".join(said)
    if tap.disagrees:
        words += "; the two do not agree"
        if tap.fits:
            words += f", but from {label(tap.fits[0], 120)} they would"
    if tap.gap_m is not None and tap.sd_gap_m is not None and tap.gap_m > 3.0 * tap.sd_gap_m:
        words += (
            f"; the run ends {plus_minus(tap.gap_m, tap.sd_gap_m, unit)} from the main as mapped"
        )
    return words


def desk_missing(report: Report) -> list[str]:
    """Return what a desk's form asks for and the site does not say, where a letter is written."""
    job, main, referral = report.site.job, report.site.main, report.site.referral
    if not report.letters:
        return []
    defects = [one.finding for one in report.defects]
    filmed = [one.finding.video for one in report.findings if one.finding.video]
    given = {
        "service address": job.address,
        "parcel": job.parcel,
        "permit or work order": job.permit or job.work_order,
        "owner": job.owner,
        "owner's contact": job.contact,
        "sender and company": referral.sender,
        "whom the letter goes to": referral.to,
        "whose side the sender is on": referral.client,
        "day of the inspection": report.site.date,
        "inspector": job.inspector,
        "certificate number": job.certificate,
        "access point": job.access_point,
        "camera direction": job.camera_direction,
        "video": job.video or filmed,
        "clock positions of the findings": not defects or any(one.clock for one in defects),
        "main's asset id": main.asset,
        "main's manholes": main.upstream and main.downstream,
        "where on the main the tap is": report.tap is not None,
        "vertical datum": job.vertical_datum or not report.stations.ground_known,
        "urgency": job.urgency,
        "what the urgency rests on": job.urgency in (None, "routine") or job.urgency_ground,
    }
    return [name for name, value in given.items() if not value]


def tap_question(report: Report) -> str:
    """Return what a desk would ask of a tap that is read elsewhere than the plan has it."""
    tap = report.tap
    if tap is None or not tap.disagrees or tap.typed_m is None or tap.station_m is None:
        return ""
    unit = report.site.unit
    return (
        f"The tap is {length(tap.typed_m, unit)} from {label(tap.manhole, 120)} as read, "
        f"{length(tap.station_m, unit)} by the plan: is it counted from another manhole?"
    )
