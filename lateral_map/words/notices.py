"""What the reader of any output must know: what was assumed, what is doubtful, what is missing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from lateral_map.analysis.dig import LEAST_TOLERANCE_M
from lateral_map.model.chance import POOR_FIT, TWO_SIDED_95
from lateral_map.model.picture import PlanPicture
from lateral_map.model.results import Crossing, FindingResult, Report, Uncrossed
from lateral_map.model.route import Route
from lateral_map.model.site import Site
from lateral_map.model.trade import is_danger_noted
from lateral_map.units import (
    format_length,
    format_small,
    format_spread,
    from_metres,
    small_unit,
)
from lateral_map.words.diagnoses import applied_told, diagnoses_told, undiagnosed_words
from lateral_map.words.names import FAR_END_WORDS, reading_name, the
from lateral_map.words.numbers import label, length, listed, plus_minus, range_95, tidy

# So many of a plan's sources are told on a sheet.
_ORIGINS = 4
# Of more crossed lines that bound nothing than these, those that follow are counted.
FEW_CROSSINGS = 8
UNIT_NAMES = {"in": "inches", "ft": "feet", "m": "metres", "cm": "centimetres", "mm": "millimetres"}


def report_notices(report: Report) -> tuple[str, ...]:
    """Return everything a reader of the outputs should know, each said once.

    What could hurt someone comes first.
    """
    unit, dig = report.site.unit, report.dig
    ruled = []
    if report.route.alternatives:
        ruled.append("the dig buffer covers every route that fits the readings about as well")
    if report.site.dig.tolerance_zone_m is None:
        ruled.append(
            "NO LOCAL DIG RULE WAS GIVEN: until it is, every zone here takes 48 in (1.22 m) each "
            "side, the widest known (Michigan); most places ask 18 or 24 in. Look up your own and "
            "write it in site.toml, [dig] tolerance_zone"
        )
    elif dig.tolerance_m < LEAST_TOLERANCE_M - 1e-9:
        ruled.append(
            f"the dig tolerance given, {format_small(dig.tolerance_m, unit)} each side, is "
            "narrower than the 18 in of Common Ground Alliance Best Practice 5.19"
        )
    said = [
        *danger_notices(report),
        *filter(None, [undiagnosed_words(report)]),
        *applied_told(report.site),
        *_question_notices(report),
        *_fit_notices(report),
        *ruled,
        *report.site.notices,
        *route_notices(report.route),
        *other_ground_words(report),
        *_line_notices(report),
    ]
    for pipe in report.pipes:
        if pipe.size_m is None:
            said.append(f"pipe from {format_length(pipe.from_m, unit)}: {pipe.source}")
        elif pipe.is_guess:
            size = format_small(pipe.size_m, unit)
            said.append(f"outside diameter of {size} {pipe.material} pipe: {pipe.source}")
    said += _end_notices(report)
    return tuple(dict.fromkeys(said))


def _end_notices(report: Report) -> list[str]:
    """Say that the pipe goes on where the run does not."""
    if report.site.run.end != "not reached":
        return []
    end = format_length(report.site.run.end_m, report.site.unit)
    far = report.site.far_end
    # It may yet have been run from the main to the house.
    short = "end at the main" if far == "main" else f"reach {FAR_END_WORDS[far]}"
    return [f"the run does not {short}: the pipe goes on past {end}, undrawn"]


def drawing_notices(report: Report) -> tuple[str, ...]:
    """Return the notices as sentences: what could hurt, what the drawing shows, the rest."""
    unit = report.site.unit
    own = []
    if report.route.alternatives:
        own.append(
            "The readings fit more than one line about as well; the others are drawn dotted. "
            "One more tie settles it."
        )
    dead = [s for s in report.stations.basis_stretches() if s.basis == "dead reckoned"]
    if dead:
        spans = listed([f"{length(s.from_m, unit)} to {length(s.to_m, unit)}" for s in dead])
        own.append(f"Dead reckoned, nothing located there: {spans}.")
    known = [*danger_notices(report), *own, *report_notices(report)]
    said = [tidy(notice, 300) for notice in known]
    return tuple(dict.fromkeys(as_sentence(notice) for notice in said if notice))


def origin_words(site: Site) -> tuple[str, ...]:
    """Say where a drawing's plan is from: taped, assumed, or whose map it was."""
    plan, words = site.plan, list[str]()
    taped = () if plan.sketch is None else (*plan.sketch.lines, *plan.sketch.points)
    if plan.sketch is not None:
        words.append("Plan sketched by tape")
        if plan.sketch.assumed:
            words.append(f"Assumed, not measured: {tidy(listed(list(plan.sketch.assumed)), 120)}")
    mapped = [one.source for one in plan.lines if one.name not in taped]
    mapped += [one.source for one in plan.areas]
    mapped += [one.source for one in plan.points if one.name not in taped]
    lines = {one.source for one in plan.lines}
    for source in dict.fromkeys(filter(None, mapped)):
        survey = ": no boundary survey" if source in lines else ""
        words.append(f"Plan from {tidy(source, 120)}{survey}")
    more = len(words) - _ORIGINS
    return (*words[:_ORIGINS], *([f"and from {more} more"] if more > 0 else []))


def picture_words(picture: PlanPicture, unit: str) -> str:
    """Say whose picture lies under the plan, and how well places can be read off it."""
    return f"{picture_origin(picture)}; places on it {range_95(picture.sd_m, unit)}"


def picture_origin(picture: PlanPicture) -> str:
    """Say whose a picture is, of when, and under which licence."""
    whose = picture.source or f"picture {picture.name}, its source not stated"
    said = [part for part in (whose, picture.date, picture.licence) if part]
    return tidy(", ".join(said), 200)


def embedded_words(picture: PlanPicture, unit: str) -> str:
    """Say how large a picture is where it is embedded."""
    wide, high = picture.width_px, picture.height_px
    side = from_metres(picture.pixel_m, small_unit(unit))
    size = f"{side:.0f}" if side >= 10.0 else f"{side:.2g}"
    word = "mm" if small_unit(unit) == "mm" else "in"
    return f"{wide:,} × {high:,} pixels of {size} {word}, {len(picture.jpeg) / 1000:,.0f} kB"


def as_sentence(words: str) -> str:
    """Return words with a capital at the front and a full stop at the end."""
    if not words:
        return ""
    words = words.replace("+-", "±")
    # A file's name keeps its small letter: it is case-sensitive.
    begun = words if "." in words.split(" ", 1)[0] else words[0].upper() + words[1:]
    return begun if begun[-1] in ".!?…" else f"{begun}."


def uncrossed_words(short: Uncrossed, unit: str) -> str:
    """Say how near the run comes to a line it never crosses."""
    if short.gap_m is None or short.sd_gap_m is None or short.at_m is None:
        why = "the run does not end at it" if short.kind == "main" else "the run ends in its riser"
        return f"{short.line}: never crossed; {why}"
    gap = format_length(short.gap_m, unit)
    spread = format_spread(TWO_SIDED_95 * short.sd_gap_m, unit)
    if short.at_end:
        return f"{short.line}: never crossed; the run ends {gap} ± {spread} short of it"
    where = format_length(short.at_m, unit)
    return f"{short.line}: never crossed; the run comes nearest at {where}, {gap} ± {spread} away"


def missed_words(short: Uncrossed, unit: str) -> str:
    """Say in a letter's sentence that the run never crosses a line, and how near it comes."""
    crosses = {"main": "meet", "cleanout": "pass"}.get(short.kind, "cross")
    begins = f"It does not {crosses} {the(short.line)}"
    if short.gap_m is None or short.sd_gap_m is None or short.at_m is None:
        why = "the run does not end at it" if short.kind == "main" else "the run ends in its riser"
        return f"{begins}: {why}"
    gap = plus_minus(short.gap_m, short.sd_gap_m, unit)
    if short.at_end:
        return f"{begins}: the run ends {gap} short of it"
    return f"{begins}: the run comes nearest at {length(short.at_m, unit)}, {gap} away"


def carried_words(carried_m: float, unit: str) -> str:
    """Say how far a line was carried on to where it is judged by."""
    return f"line carried straight on {length(carried_m, unit)} past its mapped end"


def other_ground_words(report: Report) -> tuple[str, ...]:
    """Say under which buildings the line lies or may lie, and where it goes into other lots."""
    unit, said = report.site.unit, []
    crossed = [one for one in report.other_ground if one.what == "lot line"]
    if crossed:
        where = [f"{the(one.name)} at {length(one.from_m, unit)}" for one in crossed]
        said.append(
            f"the line leaves its lot over {listed(where)}, and not by the street: whose ground it "
            "lies in from there is not said; look for an easement"
        )
    under = [
        f"{the(one.name)} from {length(one.from_m, unit)} to {length(one.to_m, unit)}"
        for one in report.other_ground
        if one.what == "building" and one.sure
    ]
    if under:
        said.append(f"the line lies under {listed(under)}: an open trench would go through it")
    unsure = [the(one.name) for one in report.other_ground if not one.sure]
    if unsure:
        said.append(f"within its 95 % range the line may lie under {listed(unsure)}")
    return tuple(said)


def grazing_words(crossing: Crossing, unit: str) -> str:
    """Say what makes a crossing less sure than it looks, empty where nothing does."""
    if not crossing.grazing:
        return ""
    loose = format_spread(TWO_SIDED_95 * crossing.sd_footage_m, unit)
    angle = f"only {crossing.angle_deg:.0f} degrees" if crossing.angle_deg >= 1.5 else "1 degree"
    angle = angle if crossing.angle_deg >= 0.5 else "less than 1 degree"
    return (
        f"the pipe meets the line at {angle}, nearly along it: "
        f"the crossing's footage is good to no better than ± {loose}"
    )


def danger_words(result: FindingResult, unit: str) -> str:
    """Say what to do about a foreign pipe or cable seen in the sewer."""
    finding = result.finding
    seen = finding.finding
    if is_danger_noted(finding):
        seen += f" ({label(finding.note, 120)})"
    return (
        f"STOP: {seen}, seen at "
        f"{length(result.finding.footage_m, unit)} (no. {result.number}): cut and dig nothing "
        "there, keep ignition away, leave, and call its owner and the emergency number; what "
        "its owner says to do in an emergency comes first"
    )


def stop_line(report: Report) -> str:
    """Return every foreign pipe or cable seen in the sewer and what to do, in one line, or none."""
    unit = report.site.unit
    seen = [f"no. {one.number} at {length(one.finding.footage_m, unit)}" for one in report.dangers]
    if not seen:
        return ""
    return (
        f"STOP: foreign pipe or cable in the sewer, {listed(seen, len(seen))}. Cut and dig nothing "
        "there, keep ignition away, leave, call its owner and the emergency number."
    )


def danger_notices(report: Report) -> tuple[str, ...]:
    """Return what to do about each foreign pipe or cable seen in the sewer."""
    return tuple(danger_words(one, report.site.unit) for one in report.dangers)


def _question_notices(report: Report) -> Iterator[str]:
    """Ask about readings that make no sense as written."""
    unit = report.site.unit
    for one in report.questions:
        name = reading_name(one.reading, report.site.plan) if one.reading.of else "a footage"
        if one.finding is not None:
            name = f"the footage of {report.site.findings[one.finding].finding}"
        read = format_length(one.read_m, unit)
        ends = ". The run is taken to end there, which nothing else says" if one.ends_run else ""
        if one.would_be_m is None:
            yield f"{name}, {read}: is that right? It is far from what the others say{ends}"
            continue
        number = f"{from_metres(one.read_m, unit):g}"
        would = format_length(one.would_be_m, unit)
        if one.unit == "foot":
            whole = format_length(one.read_m + report.site.start.riser_m, unit)
            yield (
                f"[start] depth, {read}: was that measured at the riser's foot? It counts from "
                "where the footage starts, the riser's top: the run is taken to begin "
                f"{whole} down. Measured at the foot, write {would}"
            )
        elif one.unit == "point":
            yield f"{name}, {read}: is the decimal point missing? {would} would make sense{ends}"
        else:
            yield f"{name}, {read}: {UNIT_NAMES[one.unit]}? {number} {one.unit} is {would}"


def _fit_notices(report: Report) -> Iterator[str]:
    """Say that no +- can be better than the readings it was worked out from."""
    first = [check for check in report.readings if check.set_aside_first]
    likely = report.likely_diagnoses
    mapped = [one.slip.id is not None and one.slip.id.is_mapped for one in likely]
    mapped = mapped or [check.id.is_mapped for check in first]
    plan = "correct the plan or give it a wider accuracy"
    # Only a locate's row has a column use.
    rows = any(check.id.mark for check in first)
    row = "Correct the row or set it aside (use = no)" if rows else "Correct what was written"
    row = "Look at the notes, correct the row or take it so" if likely else row
    remedy = f"{row}; where the map is wrong, {plan}" if any(mapped) else row
    if mapped and all(mapped):
        remedy = plan.capitalize()
    if told := diagnoses_told(report)[: len(likely)]:
        yield (
            f"the readings do not agree; most probably {listed(told, len(told))}. The line takes "
            f"all readings as they stand, and every ± allows for that. {remedy}, and run again"
        )
    elif first:
        verb = "does" if len(first) == 1 else "do"
        names = [reading_name(check.id, report.site.plan) for check in first]
        yield (
            f"{listed(names, len(names))} {verb} not agree with the other readings: every ± here "
            f"takes all the readings used to be right. {remedy}, and run again"
        )
    elif report.fit.p_value is not None and report.fit.p_value < POOR_FIT:
        yield (
            "the readings scatter more than their accuracies say, and no single one explains it: "
            "every ± in plan is wider for it. Check [accuracy] in site.toml"
        )


def route_notices(route: Route) -> Iterator[str]:
    """Say what was assumed of the line and what makes it doubtful."""
    start, unit = route.site.start, route.site.unit
    if not route.settled:
        yield (
            "the readings pull the route so far apart that no best fit was settled on: what is "
            "drawn is provisional. Look at the suspect readings, correct one or set its row "
            "aside (use = no), and run again"
        )
    if route.alternatives:
        yield (
            f"{len(route.alternatives) + 1} different routes fit these ties about as well (tapes "
            "from two points have a mirror image): tape one mark from a third point, or measure "
            "the first azimuth. The best-fitting one is drawn; the others are shown beside it."
        )
    if not len(route.tied_footages_m):
        yield "no locate is tied in plan: the route is dead reckoning from footage and bends"
        if start.azimuth_deg is None:
            yield (
                "no first azimuth either: the line is drawn heading for the nearest boundary, "
                "and its direction is a guess"
            )
    if route.assumed_start_depth_m is not None:
        guess = plus_minus(*route.assumed_start_depth_m, unit)
        yield f"the depth at the start was not measured: {guess} is assumed there"
    for mark, bend in route.tilted:
        yield (
            f"locate {mark} lies within 1.5 depths of a vertical bend ({bend:.0f} degrees): the "
            "transmitter lies tilted there, so its place along the line and its depth are trusted "
            "less"
        )


def _line_notices(report: Report) -> Iterator[str]:
    """Say what was taken as given, and what makes a line the run crosses doubtful."""
    if report.client_assumed and report.letters:
        yield (
            f"the site does not say whose side the sender is on ([referral] client): taken as "
            f"{report.client}"
        )
    if report.route.ground.is_level:
        yield (
            "nobody measured the ground: depths are drawn below a level ground line, and the "
            "pipe's true fall cannot be told from them"
        )
    if (missed := report.missed_main) is not None:
        gap = plus_minus(missed.gap_m, missed.sd_gap_m, report.site.unit)
        yield (
            f"the run is said to end at the main, but no sewer of the plan lies there: "
            f"{the(missed.name)} is {gap} off. The map, the footage of the end or what the run "
            "came to is to be looked at again"
        )
    yield from _crossing_notices(report)
    unit, often = report.site.unit, Counter((not c.decides, c.line) for c in report.crossings)
    same = {one.line for one in report.crossings if one.one_party}
    again = sorted((*which, times) for which, times in often.items() if times > 1)
    for other, line, times in again[:FEW_CROSSINGS]:
        back = "" if other or line in same else ": who answers changes back between them"
        often_words = "twice" if times == 2 else f"{times} times"
        yield f"{line} is crossed {often_words}{back}"
    yield from (
        f"responsibility changes at a line the run does not reach: {uncrossed_words(short, unit)}"
        for short in report.uncrossed
        if short.decides and not short.one_party
    )


def _crossing_notices(report: Report) -> Iterator[str]:
    """Say what makes each crossing doubtful; once of a flood of lines that bound nothing."""
    unit, bounding = report.site.unit, {one.line for one in report.site.boundaries}
    others = [one for one in report.crossings if one.line not in bounding]
    flood = others if len(others) > FEW_CROSSINGS else []
    carried = [one.line for one in flood if one.carried_m]
    loose = [one.line for one in flood if one.others_m or one.may_miss or one.grazing]
    for names, words in (
        (carried, "mapped too short, carried straight on to where the pipe crosses them"),
        (loose, "met nearly along, or crossed elsewhere by other lines that fit about as well"),
    ):
        if names:
            yield f"{listed(list(dict.fromkeys(names)))}, which bound nothing: {words}"
    for crossing in (one for one in report.crossings if one not in flood):
        at = format_length(crossing.footage_m, unit)
        if crossing.carried_m:
            yield (
                f"{crossing.line} was mapped too short and was carried straight on, "
                f"{length(crossing.carried_m, unit)} past its mapped end (the ± allows for a line "
                f"that turns by 1 in 10 there), to where the pipe crosses it at {at}"
            )
        elsewhere = [f"at {format_length(one, unit)}" for one in crossing.others_m]
        elsewhere += ["not at all"] if crossing.may_miss else []
        if elsewhere:
            places = " or ".join(elsewhere)
            yield f"{crossing.line} at {at}: other lines that fit about as well cross it {places}"
        if crossing.grazing:
            yield f"{crossing.line} at {at}: {grazing_words(crossing, unit)}"
