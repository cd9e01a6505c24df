"""Mistakes somebody could make in the heart: each must fail a test.

(file below lateral_map, exact old text, new text, why it would hurt).
"""

# ruff: noqa: E501  # a table: one mutant a line

from __future__ import annotations

from typing import Final, NamedTuple


class Mutant(NamedTuple):
    """One change of one place, and why it would hurt."""

    file: str
    old: str
    new: str
    why: str


# fmt: off
MUTANTS: Final = tuple(Mutant(*row) for row in (
    # slips
    ("adjust/slips.py", "columns = moved(mark_of == locate.mark, -direction[piece])", "columns = moved(mark_of == locate.mark, direction[piece])", "a footage read too long pulls the mark the other way"),
    ("adjust/slips.py", "(place @ -direction[inner + 1].T)", "(place @ -direction[0 * inner].T)", "a counter that slipped moves the pipe along its beginning"),
    ("adjust/slips.py", "unnoted[linear] = -turning[:, inner + 1]", "unnoted[linear] = -turning[:, 0 * inner]", "every bend nobody noted stands at the start"),
    ("adjust/slips.py", 'sizes=(2.0 * turn,)', 'sizes=(turn,)', "a bend the other way is a bend left out"),
    ("model/mending.py", "replace(bend, turn_deg=bend.turn_deg - size)", "replace(bend, turn_deg=bend.turn_deg + size)", "a bend is mended away from what is true"),
    ("model/mending.py", "replace(locate, footage_m=locate.footage_m - size)", "replace(locate, footage_m=locate.footage_m + size)", "a footage is mended the wrong way"),
    ("model/mending.py", "max(at - size, begin) if at > begin else at", "max(at - size, begin)", "a counter that slipped midway moves what came before"),
    ("adjust/diagnose.py", "log_odds=first.log_odds + one.log_odds", "log_odds=first.log_odds - one.log_odds", "two slips at once are the less likely the better they explain"),
    ("adjust/diagnose.py", "terms = -0.5 * float(size @ size) / usual**2", "terms = 50.0 + 0.0 * usual", "freedom costs nothing"),
    ("adjust/diagnose.py", "total = sum(weights) + math.exp(-top) + math.exp(noisier - top)", "total = sum(weights)", "something is always wrong"),
    # noise
    ("model/noise.py", "return (_WORTH + max(chi_square, 0.0)) / (_WORTH + max(freedom, 0.0))", "return 1.0", "no misfit ever widens an answer"),
    ("model/noise.py", "chance * max(variance, _TAILS_WIDER**2)", "chance * variance", "errors with tails widen nothing"),
    ("model/noise.py", "missed[told] / redundancy[told]", "missed[told]", "what others check in part tells too little of tails"),
    ("model/noise.py", "extra = self.pipe**2 - self.readings**2", "extra = 0.0 * self.pipe", "the pipe's wander counts as a reading's error"),
    ("model/noise.py", "readings, pipe = left * self.readings**2, left * self.pipe**2", "readings, pipe = self.readings**2, self.pipe**2", "a gross slip widens what its own mending explains"),
    ("model/route.py", "away = gap[:, :, None] * gap[:, None, :]", "away = 0.0 * gap[:, :, None] * gap[:, None, :]", "the corridor forgets where a mended line would lie"),
    ("model/route.py", "level = ~(directions | upright)", "level = ~directions", "depths that misfit widen the plan"),
    # chain
    ("adjust/chain.py", "first = site.counter.zero_m + site.start.riser_m", "first = site.counter.zero_m", "a riser is laid out flat"),
    ("adjust/chain.py", "_LONGEST_PIECE_M = 1.524", "_LONGEST_PIECE_M = 15.24", "wander is lumped into long straights"),
    ("adjust/chain.py", "rates[middle >= run.from_m] = own", "rates[middle < run.from_m] = own", "a pipe's wander is given to the pipe before it"),
    ("adjust/chain.py", 'site.accuracy.fitting_deg if bend.how == "fitting" else site.accuracy.eye_deg', 'site.accuracy.eye_deg if bend.how == "fitting" else site.accuracy.fitting_deg', "an angle by eye is trusted like a fitting"),
    ("adjust/chain.py", "turns.turn[node] += np.radians(bend.turn_deg)", "turns.turn[node] -= np.radians(bend.turn_deg)", "right is left"),
    ("adjust/chain.py", "turns.fall[node] += np.radians(bend.fall_deg)", "turns.fall[node] -= np.radians(bend.fall_deg)", "down is up"),
    ("adjust/chain.py", "turns.turn_variance[node] += sd**2 if bend.turn_deg", "turns.turn_variance[node] += sd**2 if bend.fall_deg", "a turn's own uncertainty is lost"),
    ("adjust/chain.py", "(before + walked) / 3.0", "(before + walked) / 2.0", "wander is half as much again"),
    ("adjust/chain.py", "shared = walked[:-1] / 6.0", "shared = walked[:-1] / 12.0", "neighbouring pieces share too little wander"),
    ("adjust/chain.py", "walked = np.square(rates) * lengths_m", "walked = rates * lengths_m", "wander is no variance"),
    ("adjust/chain.py", "sd = np.radians(usual if bend.sd_deg is None else bend.sd_deg)", "sd = np.radians(usual)", "a bend's stated accuracy is passed over"),
    # ground
    ("adjust/ground.py", "_UNSEEN_SLOPE = 0.03", "_UNSEEN_SLOPE = 0.0003", "ground nobody measured is as sure as measured ground"),
    ("adjust/ground.py", "direct.insert(0, (chain.zero_m, site.start.ground_m, 0.0))", "direct.insert(0, (chain.zero_m, site.start.ground_m + 0.3, 0.0))", "the start's ground is a foot too high"),
    ("adjust/ground.py", "(site.transmitter_footage_m(one), one.ground_m, 0.0)", "(one.footage_m + 1.0, one.ground_m, 0.0)", "a level stands at another place than its locate"),
    ("adjust/ground.py", "if gap[node, i] <= _NEAR_SPOT_M", "if gap[node, i] >= _NEAR_SPOT_M", "far spot levels count and near ones do not"),
    ("adjust/ground.py", "sd = np.hypot(sd_measured, _UNSEEN_SLOPE * away)", "sd = np.full(len(away), sd_measured)", "the ground's sd no longer grows away from levels"),
    ("adjust/ground.py", "sd_measured = site.accuracy.ground_m if terrain is None else terrain.sd_m", "sd_measured = site.accuracy.ground_m", "a terrain's own accuracy is passed over"),
    ("adjust/ground.py", "closest = gap.argmin(axis=0)", "closest = gap.argmax(axis=0)", "a spot level is carried to the farthest node"),
    ("adjust/ground.py", "node, spot = np.unravel_index(int(gap.argmin()), gap.shape)", "node, spot = np.unravel_index(int(gap.argmax()), gap.shape)", "the farthest spot level stands for the ground"),
    # solve
    ("adjust/solve.py", "return np.asarray(inverse.T @ inverse)", "return np.asarray(inverse @ inverse.T)", "the covariance is of something else"),
    ("adjust/solve.py", "design.T @ self.missed + rest.T @ self.residuals", "design.T @ self.missed - rest.T @ self.residuals", "ties push the line away"),
    ("adjust/solve.py", "columns[shared] - flat.T @ through", "columns[shared] + flat.T @ through", "a mark's own error pushes the line away"),
    ("adjust/solve.py", "on_own - across @ moved", "on_own", "marks stay where they were as the line moves"),
    ("adjust/solve.py", "SHARE_OF_SD, SHARE_OF_RESIDUAL = 2.0**-26", "SHARE_OF_SD, SHARE_OF_RESIDUAL = 2.0**-6", "rounding is as coarse as a sixtieth of an sd"),
    ("adjust/solve.py", "covariance = problem.at(best).normal.inverse()", "covariance = replace(found.normal, rest=0.0 * found.design).inverse()", "the ties take nothing from the uncertainty"),
    ("adjust/solve.py", "if not there.cost <= here.cost * (1.0 + 1e-14) + 1e-20:", "if False:", "a step that makes things worse is taken"),
    ("adjust/solve.py", "np.round(values / step) * step + 0.0", "values + 0.0 * step", "nothing is rounded: other bytes on another processor"),
    # prior
    ("adjust/solve.py", "design[:, others] += design[:, own] @ follow", "design[:, others] -= design[:, own] @ follow", "a step by the ties takes a start's point the wrong way"),
    ("adjust/solve.py", "residuals + self.rest @ away", "residuals - self.rest @ away", "a step by the ties goes where no tie is"),
    ("adjust/solve.py", "self.damping > _DAMPED_ENOUGH", "self.damping > 1e9", "a line with a tape far off never settles"),
    ("adjust/ties.py", "bent = -residuals", "bent = residuals", "a ring bends the cost the wrong way"),
    ("adjust/ties.py", "across[row[:, None], _PAIR, columns] -= 1.0", "across[row[:, None], _PAIR, columns] += 1.0", "a ring about an unsure point is bent by what is not its radius"),
    ("adjust/prior.py", "[1.0, *(-weights)], level - depth", "[1.0, *weights], level - depth", "the start's depth takes the ground's error with the wrong sign"),
    ("adjust/prior.py", "[1.0, *(-weights)], level - depth, sd)", "[1.0, *(-weights)], level + depth, sd)", "the start lies above the ground"),
    ("adjust/prior.py", "np.hstack([coefficients, -coefficients])", "np.hstack([coefficients, coefficients])", "a start on a point moves against the point"),
    ("adjust/prior.py", "sd = start.sd_depth_m if known else UNKNOWN_DEPTH_SD_M", "sd = UNKNOWN_DEPTH_SD_M", "a measured start depth counts for little"),
    ("adjust/prior.py", "covariance[0, 0] += first[1] ** 2", "covariance[0, 0] += first[1]", "a measured azimuth is far too unsure"),
    ("adjust/prior.py", "covariance[0, 0] += site.accuracy.sd_fall**2", "covariance[0, 0] += site.accuracy.sd_fall", "the expected fall says nothing"),
    ("adjust/prior.py", "[site.counter.sd_scale, site.counter.sd_zero_m]", "[site.counter.sd_zero_m, site.counter.sd_scale]", "counter scale and zero change accuracies"),
    ("adjust/prior.py", "np.eye(size) - np.eye(size, k=-1)", "np.eye(size) - 0.5 * np.eye(size, k=-1)", "the pipe bends back towards north at every piece"),
    ("adjust/prior.py", "np.repeat([sd for _, sd, _ in errors], width)", "np.tile([sd for _, sd, _ in errors], width)", "one mark's accuracy is given to another"),
    ("adjust/prior.py", "[[np.arctan(site.accuracy.fall)], turns.fall]", "[[-np.arctan(site.accuracy.fall)], turns.fall]", "the expected fall rises"),
    ("adjust/prior.py", "changes.reading(turn, node + 1, bend.footage_m)", "changes.reading(turn, node, bend.footage_m)", "a bend's check looks at the piece before"),
    ("adjust/prior.py", "ground.sd(ground.correction_knots_m)", "100.0 * ground.sd(ground.correction_knots_m)", "the measured ground may float by feet"),
    ("adjust/prior.py", "UNKNOWN_DEPTH_SD_M = 0.9144", "UNKNOWN_DEPTH_SD_M = 0.09144", "a depth nobody measured is sure to 4 in"),
    # ties
    ("adjust/ties.py", "invert = locate.depth_m - locate.held_above_m + above", "invert = locate.depth_m + above", "a locator held above the ground reads too deep"),
    ("adjust/ties.py", "nulls_depth_m(locate.nulls_m) - locate.nulls_held_above_m + above", "nulls_depth_m(locate.nulls_m) + above", "nulls found above the ground say too deep"),
    ("adjust/ties.py", "locate.depth_m - locate.held_above_m + above", "locate.depth_m - locate.held_above_m - above", "the transmitter rides below the invert"),
    ("adjust/ties.py", "tape.sd_m**2 + point.sd_m**2 + tape.distance_m**2 / 2.0", "tape.sd_m**2 + tape.distance_m**2 / 2.0", "a short tape forgets how well its point is mapped"),
    ("adjust/ties.py", "_SHORT_TAPE_M = 0.1524", "_SHORT_TAPE_M = 6.0", "a tape of 20 ft says the mark is at the point"),
    ("adjust/ties.py", "point[row] += unknowns[columns]", "point[row] -= unknowns[columns]", "a point's shift moves it the other way"),
    ("adjust/ties.py", "design[tapes][row[:, None], columns] -= unit[row]", "design[tapes][row[:, None], columns] += unit[row]", "the derivative by a point's easting is upside down"),
    ("adjust/ties.py", "mark_jacobian[index, 1, ties.mark_column + 1] = 1.0", "mark_jacobian[index, 1, ties.mark_column + 1] = 0.0", "a mark cannot be off to the north"),
    ("adjust/ties.py", "computed - unknowns[group.shift_column] * group.is_offset", "computed + unknowns[group.shift_column] * group.is_offset", "a taped curb moves the mapped one the wrong way"),
    ("adjust/ties.py", "design[:, group.shift_column] -= group.is_offset", "design[:, group.shift_column] += group.is_offset", "the derivative by a line's shift is upside down"),
    ("adjust/ties.py", "np.where(group.is_offset[:, None], found.normal, found.tangent)", "np.where(group.is_offset[:, None], found.tangent, found.normal)", "along and across change places"),
    ("adjust/ties.py", "surface = ties.depth_level_m + ties.depth_weights @ unknowns[ground]", "surface = ties.depth_level_m", "depths ignore the ground's correction"),
    ("adjust/ties.py", "np.negative(jacobian[ties.depth_row, 2], out=design[depths])", "design[depths] = jacobian[ties.depth_row, 2]", "deeper is higher"),
    ("adjust/ties.py", "footages = [site.transmitter_footage_m(one) for one in locates]", "footages = [one.footage_m for one in locates]", "the transmitter is taken to ride at the lens"),
    ("model/site.py", '"past" if self.as_past else "offset"', '"offset"', "a reading is known by a column nobody wrote"),
    # transmitter
    ("adjust/transmitter.py", "near.append(90.0)", "near.append(0.0)", "a riser is no vertical bend"),
    ("adjust/transmitter.py", "_VERTICAL_BEND_DEG = 5.0", "_VERTICAL_BEND_DEG = 50.0", "a 45 degree drop tilts nothing"),
    ("adjust/transmitter.py", "NEAR_VERTICAL_BEND_DEPTHS = 1.5", "NEAR_VERTICAL_BEND_DEPTHS = 0.15", "a bend beside the transmitter is far away"),
    ("adjust/transmitter.py", "            + (shift * depth) ** 2\n", "", "a tilted transmitter is found exactly"),
    ("adjust/transmitter.py", "(site.accuracy.mark_fraction * depth) ** 2", "(site.accuracy.mark_fraction) ** 2", "deep locates are as sure as shallow ones"),
    ("adjust/transmitter.py", "return nulls_m / float(np.sqrt(2.0))", "return nulls_m * float(np.sqrt(2.0))", "depth from nulls is twice the depth"),
    ("adjust/transmitter.py", '"null": np.array([0.0, 0.0138, 0.0582', '"null": np.array([0.0, 0.0069, 0.0291', "a null is taken to shift as little as a peak"),
    ("adjust/transmitter.py", "share = np.hypot(site.transmitter.sd_depth_fraction, over)", "share = site.transmitter.sd_depth_fraction", "nulls near a drop are trusted"),
    # possible
    ("adjust/possible.py", "_SURE = 5.0", "_SURE = 500.0", "nothing is ever impossible"),
    ("adjust/possible.py", "between = max(between - site.start.riser_m * from_start, 0.0)", "between = max(between, 0.0)", "a riser's footage counts as ground"),
    ("adjust/possible.py", "if not (apart > between + slack).all():", "if not (apart > between + slack).any():", "a mirror point stops a drawing"),
    ("adjust/possible.py", "square = first.distance_m**2 - ahead**2", "square = first.distance_m**2 + ahead**2", "two tapes meet in the wrong place"),
    ("adjust/possible.py", "(first.distance_m**2 - second.distance_m**2 + length**2)", "(second.distance_m**2 - first.distance_m**2 + length**2)", "two tapes change points"),
    ("adjust/possible.py", "right = np.array([unit[1], -unit[0]])", "right = np.array([-unit[1], unit[0]])", "an offset to the right lies left"),
    ("adjust/possible.py", "if sine < _NARROWEST:", "if sine > _NARROWEST:", "only tapes that hardly cross are a fix"),
    ("adjust/possible.py", "reversed(fixes),", "fixes,", "the start is blamed before the locate"),
    # starts
    ("adjust/starts.py", "toward = -found.normal * np.sign(found.offset_m)", "toward = found.normal * np.sign(found.offset_m)", "a line nobody tied heads away from the main"),
    ("adjust/starts.py", "key=lambda one: not one.decides", "key=lambda one: one.decides", "an unknown line heads for a line that decides nothing"),
    ("adjust/starts.py", "_TOWARD_MAIN_SD = np.pi / 3.0", "_TOWARD_MAIN_SD = np.pi / 300.0", "a direction nobody measured is sure to half a degree"),
    ("adjust/starts.py", "east = north_up[:, 0] * cosine + north_up[:, 1] * sine", "east = north_up[:, 0] * cosine - north_up[:, 1] * sine", "starts are tried mirrored"),
    ("adjust/starts.py", "found[np.argsort(cost[found])][:_MOST_STARTS]", "found[np.argsort(-cost[found])][:1]", "the worst start alone is tried"),
    # falls
    ("analysis/falls.py", "if low >= step.ratio:", "if high >= step.ratio:", "a fall that may be enough is called enough"),
    ("analysis/falls.py", "spent[0, 0] -= route.unknowns[route.layout.zero_offset]", "spent[0, 0] += 50.0 * route.unknowns[route.layout.zero_offset]", "the zero offset lengthens the first stretch"),
    ("analysis/falls.py", '"IPC Table 704.1",\n        (\n            FallStep(3.0, 0.02', '"IPC Table 704.1",\n        (\n            FallStep(4.5, 0.02', "4 in pipe is held against 3 in pipe's fall"),
    ("analysis/falls.py", "spent * (cosine + ratio[:, None] * sine)", "spent * (cosine + ratio[:, None] * sine) * 2.0", "a fall is half as sure"),
    ("analysis/falls.py", "elif len(known_m) < 2:", "elif len(known_m) < 1:", "one depth measures a fall"),
    ("analysis/falls.py", "elif ends[index] >= known_m[-1] - _SAME_M or ends[index + 1] <= known_m[0] + _SAME_M", "elif ends[index] >= known_m[-1] - _SAME_M", "a fall before the first depth is stated"),
    ("analysis/falls.py", "ratio = (spent @ sine) / level", "ratio = -(spent @ sine) / level", "falls are rises"),
    ("analysis/falls.py", "if high <= 0.0 and ratio < 0.0:", "if ratio < 0.0:", "a pipe is said to run back on a guess"),
    ("analysis/falls.py", "if inches < step.below_in", "if inches <= step.below_in", "a 3 in pipe takes the smaller pipe's step"),
    ("analysis/falls.py", "low, high = ratio - ONE_SIDED_95 * sd, ratio + ONE_SIDED_95 * sd", "low, high = ratio - 0.1 * sd, ratio + 0.1 * sd", "a verdict on a fall at no certainty"),
    # trench
    ("analysis/trench.py", "stations.depth_m + wall + dig.bedding_m", "stations.depth_m + dig.bedding_m", "the trench forgets the pipe's wall"),
    ("analysis/trench.py", "stations.depth_m + wall + dig.bedding_m, 0.0", "stations.depth_m + wall, 0.0", "the trench forgets the bedding"),
    ("analysis/trench.py", "top = width + sum(wall.out_m[-1] for wall in walls)", "top = width + walls[0].out_m[-1]", "one wall only is sloped"),
    ("analysis/trench.py", "stations.depth_m + wall - diameter", "stations.depth_m - diameter", "the crown lies a wall too high"),
    ("analysis/trench.py", "1.25 * diameter + 12.0 * _INCH", "1.25 * diameter + 16.0 * _INCH", "the standard's width is too wide"),
    ("analysis/trench.py", "own = max((pipe.outside_diameter_m - bore) / 2.0, 0.0)", "own = max(pipe.outside_diameter_m - bore, 0.0)", "a wall is two walls"),
    ("analysis/trench.py", "sum(wall.area_m2 for wall in walls)", "2.0 * sum(wall.area_m2 for wall in walls)", "a sloped section is a rectangle"),
    ("analysis/trench.py", "wall[here] = np.maximum(wall[here], own)", "wall[here] = own", "at a joint the thinner pipe counts"),
    # trench rules
    ("analysis/trench_rules.py", '"protective system depth", 5.0,', '"protective system depth", 6.0,', "a 5 ft trench needs no protection"),
    ("analysis/trench_rules.py", '"slope B", 1.0,', '"slope B", 0.5,', "walls too steep for the soil"),
    ("analysis/trench_rules.py", "looser=greater if rule.key in _MORE_IS_LOOSER", "looser=less if rule.key in _MORE_IS_LOOSER", "a laxer rule passes unsaid"),
    ("analysis/trench_rules.py", "override = own.get(rule.key)", "override = None", "a local rule is passed over"),
    ("analysis/trench_rules.py", '"spoil set-back", 2.0,', '"spoil set-back", 1.0,', "the heap stands at the edge"),
    # excavation
    ("analysis/excavation.py", "run / (2.0 * rules.value(\"egress travel\"))", "run / (4.0 * rules.value(\"egress travel\"))", "half the ladders"),
    ("analysis/excavation.py", "deeper = np.maximum(*stretch.faces_m(WallShape(), 1.0))", "deeper = np.maximum(*stretch.faces_m(WallShape(), -1.0))", "protection is judged by the shallow bound"),
    ("analysis/excavation.py", "for sign in (0.0, -1.0, 1.0)", "for sign in (0.0, 1.0, -1.0)", "the low volume is the high one"),
    ("analysis/excavation.py", "held_m2=held,", "held_m2=held / 2.0,", "one wall is shored"),
    ("analysis/excavation.py", "* dig.bedding_m,", ",", "bedding is an area"),
    ("analysis/excavation.py", "length_if_deeper_m=_length_between(stretch.plan_m, deeper, low, high)", "length_if_deeper_m=_length_between(stretch.plan_m, stretch.bottom_depth_m, low, high)", "the deeper class is never reached"),
    ("analysis/excavation.py", "np.where(level, (begin >= low) & (begin < high), share)", "np.where(level, 0.0, share)", "level stretches have no class of depth"),
    ("analysis/excavation.py", "float(np.add(*stretch.edges_m(shape, 0.0)).max())", "float(stretch.width_m.max())", "the cut opens no wider than its bottom"),
    ("analysis/excavation.py", "loose_high_m3=high * (1.0 + swell[1])", "loose_high_m3=high * (1.0 + swell[0])", "too few lorries for the worst case"),
    ("analysis/whitelines.py", "shapely.buffer(outline, set_back_m,", "shapely.buffer(outline, 0.5 * set_back_m,", "the heap stands too near"),
    # methods
    ("analysis/methods.py", 'Quantity("haul", cut.loose_low_m3, cut.loose_high_m3', 'Quantity("haul", cut.loose_low_m3, cut.bank_high_m3', "earth is hauled as it lies in the bank"),
    ("analysis/methods.py", "cost=(one.low * rate.low, one.high * rate.high)", "cost=(one.low * rate.low, one.low * rate.high)", "the high cost is the low quantity's"),
    ("analysis/methods.py", "+ part.restored_area_m2", "+ part.area_m2", "paving is restored without its cutback"),
    # conflicts
    ("analysis/conflicts.py", "        not one.in_trench,\n", "", "what lies in the trench is ranked by its name alone"),
    ("analysis/conflicts.py", "one.depth_known,\n                _HARM", "_HARM", "a depth nobody knows is no worse"),
    ("analysis/conflicts.py", "one.joins,\n                not", "not", "the main the run joins hides the gas line"),
    ("analysis/conflicts.py", "depth - TWO_SIDED_95 * SD_UTILITY_DEPTH_M <= deepest", "depth + TWO_SIDED_95 * SD_UTILITY_DEPTH_M <= deepest", "a duct that may be in the trench is under it"),
    ("analysis/conflicts.py", "half = trench.width_m / 2.0\n", "half = trench.width_m / 8.0\n", "what lies along the trench's wall is not in it"),
    ("analysis/conflicts.py", "return min(known)", "return max(known)", "the clearance is the widest one"),
    ("analysis/conflicts.py", "return (None, None) if crossings else aside", "return aside", "a crossing of unknown depth has a clearance"),
    ("analysis/conflicts.py", "by_hand = half_m + tolerance_m + spread", "by_hand = half_m + tolerance_m + 0.0 * spread", "hands dig only where the line is mapped"),
    # surfaces
    ("analysis/surfaces.py", "key=lambda one: one.polygon.area)", "key=lambda one: -one.polygon.area)", "the yard hides the path that crosses it"),
    ("analysis/surfaces.py", "left = shapely.difference(left, area.polygon)", "left = shapely.difference(left, part.boundary)", "overlapping covers count twice"),
    ("analysis/surfaces.py", "restored = part.area if cover in PAVED else cut.area", "restored = cut.area", "paving is patched edge to edge"),
    ("analysis/surfaces.py", '_add(broken, _UNMAPPED, "", left, centreline_m, footprint)', '_add(broken, _UNMAPPED, "", wide, centreline_m, footprint)', "all ground is unmapped as well"),
    # structures
    ("analysis/structures.py", 'max(rules.value("influence slope"), rules.slope)', 'min(rules.value("influence slope"), rules.slope)', "a house near soft ground is passed over"),
    ("analysis/structures.py", "spreads = TWO_SIDED_95 * np.hypot(stretch.across_sd_m, one.sd_m)", "spreads = 0.0 * np.hypot(stretch.across_sd_m, one.sd_m)", "a cut is as sure everywhere as where it is nearest"),
    ("analysis/structures.py", "if away <= spread or (shapely.distance(sections, one.shape) <= spreads).any():", "if away <= 0.0:", "what may be within counts as clear"),
    ("analysis/structures.py", "only_by_bound=away > 0.0", "only_by_bound=away <= 0.0", "certain and possible change places"),
    ("analysis/structures.py", "gap_low_m=max(gap - spread, 0.0)", "gap_low_m=gap", "the least gap is the mean gap"),
    # refind
    ("analysis/refind.py", "gradient[row, column] -= unit[row]", "gradient[row, column] += unit[row]", "a corner off its mapped place leads astray"),
    ("analysis/refind.py", "begin + 2.0 * (away @ along) * along - away", "begin + (away @ along) * along - away", "the mirror point is somewhere else"),
    ("analysis/refind.py", "to_the_right=bool(ahead[0] * away[1] - ahead[1] * away[0] < 0.0)", "to_the_right=bool(ahead[0] * away[1] - ahead[1] * away[0] > 0.0)", "the crew tapes to the other side"),
    ("analysis/refind.py", "own = [p.sd_m if c is None else 0.0", "own = [0.0 if c is None else p.sd_m", "mapped points are exact"),
    ("analysis/refind.py", "(sense_past(route, name) < 0.0)", "(sense_past(route, name) > 0.0)", "along the curb to the wrong hand"),
    ("analysis/refind.py", "ELLIPSE_95 * error_ellipses(covariance[None]).semi_major_m[0]", "ELLIPSE_95 * error_ellipses(covariance[None]).semi_minor_m[0]", "the error is the ellipse's short axis"),
    # null depths
    ("analysis/null_depths.py", "from_nulls = found - locate.nulls_held_above_m", "from_nulls = found", "nulls found above the ground say too deep"),
    ("analysis/null_depths.py", "sd = float(np.hypot(sd_read, sd_nulls))", "sd = float(10.0 * np.hypot(sd_read, sd_nulls))", "depths that disagree are taken for scatter"),
    ("analysis/null_depths.py", "opening = np.arccos(np.cos(tilt) / 3.0)", "opening = np.arccos(np.cos(tilt) / 2.0)", "nulls of another field"),
    ("analysis/null_depths.py", "SUSPECT_BEYOND: Final = 3.29", "SUSPECT_BEYOND: Final = 32.9", "depths that disagree pass"),
    # depth table
    ("analysis/depth_table.py", '_READ_WITHIN_M: Final = to_metres(10.0, "ft")', '_READ_WITHIN_M: Final = to_metres(1000.0, "ft")', "an interpolated depth passes for a read one"),
    ("analysis/depth_table.py", '_READ_HERE_M: Final = to_metres(2.0, "ft")', '_READ_HERE_M: Final = to_metres(2000.0, "ft")', "a depth under the house passes for a read one"),
    ("analysis/depth_table.py", "    away = np.abs(fine[:, None] - read[None, :]).min(axis=1, initial=np.inf)", "    away = np.abs(fine[:, None] - read[None, :] - 15.0).min(axis=1, initial=np.inf)", "depths are read elsewhere"),
    # pipes
    ("analysis/pipes.py", "4.0: OutsideDiameter(4.30, _A74)", "4.0: OutsideDiameter(4.20, _A74)", "iron pipe is too thin"),
    ("analysis/pipes.py", "6.0: OutsideDiameter(7.7, _CLAY)", "6.0: OutsideDiameter(6.7, _CLAY)", "clay pipe is too thin"),
    ("analysis/pipes.py", "bore + 2 * _FIBRE_WALL_IN", "bore + _FIBRE_WALL_IN", "fibre pipe has one wall"),
    ("analysis/pipes.py", "if size > nominal]", "if size < nominal]", "an odd size takes the smaller pipe's diameter"),
    ("analysis/pipes.py", "nominal + 2 * wall, words), True", "nominal + wall, words), True", "a guessed pipe has one wall"),
    # reach
    ("analysis/reach.py", 'SOUND_PIPE_M: Final = to_metres(2.0, "ft")', 'SOUND_PIPE_M: Final = to_metres(0.2, "ft")', "the repair ends in broken pipe"),
    ("analysis/reach.py", "begin - joined[-1].to_m <= JOINED_WITHIN_M", "begin - joined[-1].to_m <= 0.0", "two pits where one trench is meant"),
    ("analysis/reach.py", "SOUND_PIPE_M + TWO_SIDED_95 * site.counter.sd_reading_m", "SOUND_PIPE_M", "the counter's error is passed over"),
    ("analysis/reach.py", "begin, end = before.from_m, max(end, before.to_m)", "begin, end = before.from_m, end", "a short finding inside a long one cuts the repair short"),
    ("analysis/reach.py", "along_sd_m=float(np.hypot(sds[0][i], sd_reading))", "along_sd_m=float(sds[0][i])", "a reach's end is surer than the counter"),
    ("analysis/reach.py", "starts = before_end if stretch.line_from else 1.0", "starts = 1.0", "a party beyond the reach has a part of it"),
    ("analysis/reach.py", "across = np.stack([ahead[:, 1], -ahead[:, 0]], axis=-1)", "across = ahead", "white lines are as wide as the run is unsure along"),
    # white lines
    ("analysis/dug_into.py", "one.shallow_m <= excavation.deepest_high_m", "one.shallow_m > excavation.deepest_high_m", "what a slope lays open passes unsaid"),
    ("analysis/dug_into.py", 'if walls == "shored":', 'if walls != "shored":', "vertical walls dig into what stands beside them"),
    ("analysis/whitelines.py", "stretch.edges_m(shape, 1.0)", "stretch.edges_m(shape, -1.0)", "white lines of the shallow bound"),
    ("analysis/whitelines.py", "aside = TWO_SIDED_95 * stretch.across_sd_m", "aside = 0.0 * stretch.across_sd_m", "white lines forget where the pipe may be"),
    # responsibility
    ("model/boundaries.py", "left.append(ways[0] if one.outward else ways[1])", "left.append(ways[0])", "a run that comes in from the street begins with the owner"),
    ("model/boundaries.py", "entered.append(ways[1] if one.outward else ways[0])", "entered.append(ways[1])", "who answers never changes back"),
    ("model/answering.py", "never_met = set(self.behind) - {one.boundary for one in self.crossings}", "never_met: set[tuple[str, str]] = set()", "what may lie ahead unmet names nobody"),
    ("analysis/falls.py", "        ratio = -ratio", "        ratio = +ratio", "a run against the flow falls back"),
    ("analysis/next_locate.py", "return np.flatnonzero(can_locate(site, *places))", "return np.arange(len(places[0]))", "a locate is proposed anywhere"),
    ("analysis/settling.py", "singles = [_locate_over(route, doubt)] if doubt.locatable else []", "singles = [_locate_over(route, doubt)]", "a locate under a slab settles a finding"),
    ("analysis/main_end.py", "or any(one.joins for one in utilities)", "", "a run that joins the main has missed it"),
))
# fmt: on
