"""Gear trains for a person: the choices, one of them in full, what to buy and to mind."""

from __future__ import annotations

from math import isfinite
from typing import Any

from steadyturn import cautions, extras
from steadyturn.report.style import item, number, quantity, shown_path, table, wrap

CAUTIONS = cautions.short("gears")
OVERLOAD = {"blocked": "an arm against a train that is stuck",
            "short": "the motors' terminals shorted while the handle turns fast"}


def text(result: Any) -> str:
    """The list and what the chosen row means."""
    lines = [*_head(result), "", *_list(result)]
    if result.chosen is not None:
        lines += ["", *_verdict(result)]
        if result.row:
            lines += ["", *_stages(result)]
    lines += ["", *(item(c, mark="! ") for c in CAUTIONS), "", f"next: {_next(result)}"]
    return "\n".join(lines) + "\n"


def why_text(result: Any) -> str:
    """The chosen row in full."""
    if result.chosen is None:
        return text(result)
    lines = [*_head(result), "", *_verdict(result), "", *_loads(result), "", *_meshes(result), "",
             *_heat(result), "", *_made(result), "", *_bought(result), "", *_assumed(result)]
    if result.row:
        lines += ["", *_stages(result)]
    lines += ["", *(item(c, mark="! ") for c in CAUTIONS), "", f"next: {_next(result)}"]
    return "\n".join(lines) + "\n"


def teeth(train: Any) -> str:
    """A train as makers write it."""
    return " x ".join(f"{a}/{b}" for a, b in train.teeth)


def teeth_marked(train: Any) -> str:
    """The same, with an h at each mesh whose teeth hunt."""
    return " x ".join(f"{s.driver_teeth}/{s.driven_teeth}{'h' if s.hunting else ''}"
                      for s in train.stages)


# ---------------------------------------------------------------------------- the list


def _head(result: Any) -> list[str]:
    by = "as its rig file has it" if result.asked_by == "rig" else "as asked for"
    if not result.file:
        return [wrap(f"Gears for {number(result.ratio)} motor turns a turn of the handle, without "
                     f"a rig file: one motor and a crank of {result.given.arm_mm:.0f} mm, as they "
                     f"usually are, printed in {result.material}")]
    many = "one motor" if result.motors == 1 else f"{result.motors} motors"
    return [wrap(f"{result.rig}: gears for {number(result.ratio)} motor turns a turn of the "
                 f"handle ({by}), {many}, printed in {result.material}")]


def _list(result: Any) -> list[str]:
    shown = [*([] if result.own is None else [result.own]), *result.trains]
    all_fit = all(t.fits for t in shown)
    rows = [] if result.own is None else [_row(0, result.own, result, all_fit)]
    rows += [_row(n, train, result, all_fit) for n, train in enumerate(result.trains, start=1)]
    lines = []
    if result.own_problem:
        lines += [wrap(f"The rig file's own teeth cannot be made: {result.own_problem}."), ""]
    if not rows:
        lines.append(wrap(f"Nothing can be printed: of {result.tried_count:,} combinations of "
                          "stages none leaves room for axles and motors and fits the bed. More "
                          "stages, a smaller module or a larger bed (bed_mm) would help."))
        return lines
    head = ("row", "teeth, handle first", "module", "plate, mm", "print", "loss", "slide", "bears")
    lines.append(table(rows, head, right=(0, 4, 5, 6, 7), indent="", width=80))
    if result.best:
        lines += ["", wrap(f"{'; '.join(f'{b.what}: row {b.row}' for b in result.best)}."
                           .capitalize())]
    lines += ["", wrap(
        "loss: with the rig's efficiency of each stage; slide: of it by teeth that slide. print: "
        "hours, half to twice. bears: times what is asked of the weakest mesh, its reserve of one "
        "and a half included; below 1 it is too weak. h: each tooth meets every other before the "
        "same two come again, so that they wear alike."
        + (" !: larger than the printer's bed." if not all_fit else "")
        + (" Row 0: the rig file's own teeth." if result.own is not None else ""))]
    return lines


def _row(n: int, train: Any, result: Any, all_fit: bool) -> tuple[str, ...]:
    modules = [number(s.module_mm) for s in train.stages]
    same = len(set(modules)) == 1
    mark = "*" if n == result.row else ""
    bears = f"{train.safety:.1f}" + ("  " if train.fits else " !")
    return (f"{mark}{n}", teeth_marked(train), modules[0] if same else " ".join(modules),
            f"{train.width_mm:.0f} x {train.height_mm:.0f}", f"{train.hours:.0f} h",
            f"{train.loss_percent:.0f} %", f"{train.sliding_percent:.0f} %",
            bears.rstrip() if all_fit else bears)


def _verdict(result: Any) -> list[str]:
    train = result.chosen
    name = f"Row {result.row}, {teeth(train)}"
    large = [] if train.fits else [wrap(
        f"{name}: TOO LARGE for a bed of {result.given.bed_mm:.0f} mm (bed_mm in [gears]).")]
    if large and train.safety >= 0.99:
        return large
    if result.bears:
        off = f", {train.off_percent:+.1f} %" if abs(train.off_percent) >= 0.05 else ""
        return [wrap(f"{name}: ratio {number(train.ratio, 4)}{off}; every mesh bears what is "
                     f"asked of it. {train.width_mm:.0f} x {train.height_mm:.0f} x "
                     f"{train.depth_mm:.0f} mm without handle, motors stand out "
                     f"{train.motors_out_mm:.0f} mm behind; about "
                     f"{train.plastic_cm3:.0f} cm3 of parts.")]
    weak = min(range(len(train.stages)), key=lambda n: train.stages[n].least)
    stage = train.stages[weak]
    lines = [*large, wrap(f"{name}: TOO WEAK - mesh {weak + 1} ({stage.driver_teeth}/"
                  f"{stage.driven_teeth}) bears {number(stage.least, 2)} of what is asked.")]
    heat = result.heat
    if heat.weak_percent < 50:
        other = f" {' or '.join(heat.weak_better)} would bear it." if heat.weak_better else ""
        warms = f"{stage.judged.warms_k:.0f} K more by sliding"
        where = (f"It sits on motors that get {heat.warm_c[1]:.0f} degC warm"
                 if weak == len(train.stages) - 1 else
                 f"It turns in air of {heat.warm_c[0]:.0f} degC")
        lines.append(wrap(f"{where} and gets {warms}: {result.material} keeps "
                          f"{heat.weak_percent:.0f} % of its strength.{other}"))
    return lines


def _stages(result: Any) -> list[str]:
    """What to write into the rig file for the chosen row."""
    lines = ["In the rig file, in place of its [[stage]] tables:"]
    for stage in result.chosen.stages:
        lines += ["", "  [[stage]]", f"  driver_teeth = {stage.driver_teeth}",
                  f"  driven_teeth = {stage.driven_teeth}"]
    return lines


def _next(result: Any) -> str:
    path = shown_path(result.file) if result.file else ""
    command = f"steadyturn gears {path}".rstrip()
    if result.chosen is None:
        return f"{command} --ratio N (or change [gears] in it)"
    asked = "".join(f" {option}" for option in result.options)
    row = f" --row {result.row}" if result.row or result.own is None else ""
    if not result.bears:
        best = result.trains[0] if result.trains else None
        if result.row == 0 and best is not None and best.safety >= 0.99 and best.fits:
            return f"{command}{asked} --row 1 --why"
        better = result.heat.weak_better or result.heat.better
        if better and "--material" not in asked:
            return f"{command}{asked} --material {better[0].lower()}"
        return f"{command}{asked}{row} --why, then change [gears] in it"
    return f"{command}{asked}{row} --out gears"


# ----------------------------------------------------------------------------- in full


def _loads(result: Any) -> list[str]:
    loads = result.loads
    return ["At the handle's axle:", table([
        ("running", quantity(loads.running_nm, "N m"),
         f"at {loads.pace_tpm:.0f} turns/min; held against a sixth of the strength, for it comes "
         "again and again"),
        ("stuck", quantity(loads.blocked_nm, "N m"), f"{OVERLOAD['blocked']} (150 N at the grip)"),
        ("shorted", quantity(loads.short_nm, "N m"),
         f"{OVERLOAD['short']} ({loads.short_tpm:.0f} turns/min, {quantity(loads.short_a, 'A')} "
         "in each motor)") if loads.short_tpm else (
            "shorted", "unknown", "no motor is known: a rig file names it. A short can be the "
            "larger load"),
    ]), wrap("The larger of the last two has to be borne one and a half times, by one pinion "
             "alone; a short's with what its speed makes teeth hammer.")]


def _meshes(result: Any) -> list[str]:
    head = ("", *(f"mesh {n}" for n in range(1, len(result.chosen.stages) + 1)))
    stages = result.chosen.stages

    def row(name: str, show: Any) -> tuple[str, ...]:
        return (name, *(show(s) for s in stages))

    rows = [
        row("teeth", lambda s: f"{s.driver_teeth}/{s.driven_teeth}"),
        row("module, width", lambda s: f"{number(s.module_mm)}, {number(s.width_mm)} mm"),
        row("shifts", lambda s: f"{s.driver_shift:+.2f}, {s.driven_shift:+.2f}"),
        row("centre distance", lambda s: f"{s.centre_mm:.2f} mm"),
        row("backlash", lambda s: f"{s.backlash_mm:.2f} mm"),
        row("teeth in contact", lambda s: f"{s.contact_ratio:.2f}"),
        row("same teeth meet", lambda s: "rarely" if s.hunting else "often"),
        row("force, running", lambda s: quantity(s.judged.force_n, "N")),
        row("force, overload", lambda s: quantity(s.judged.overload_n, "N")),
        row("bending, running", lambda s: f"{number(s.judged.bending_mpa)} MPa"),
        row("bending, overload", lambda s: f"{number(s.judged.overload_mpa)} MPa"),
        row("bears, running", lambda s: f"{number(s.judged.running_safety, 2)} x"),
        row("bears, overload", lambda s: f"{number(s.judged.overload_safety / 1.5, 2)} x"),
        row("bears, its neck", lambda s: f"{number(s.joint_safety, 2)} x"
            if isfinite(s.joint_safety) else "-"),
        row("contact pressure", lambda s: f"{number(s.judged.contact_mpa)} MPa"),
        row("of the strength", lambda s: f"{100 * s.judged.contact_share:.0f} %"),
        row("lost by sliding", lambda s: f"{100 * s.judged.friction_share:.1f} %"),
        row("warms by", lambda s: f"{number(s.judged.warms_k, 2)} K"),
        row("teeth bend by", lambda s: f"{100 * s.judged.deflection_share:.0f} % of play"),
    ]
    across = number(result.chosen.hexagon_mm)
    note = ("neck: where the driven pinion stands on its wheel and is twisted across the layers. "
            f"The arm's hexagon is {across} mm wide for the same reason.")
    asks = {"short": "by short", "blocked": "by hand"}
    rows.insert(9, row("the harder is", lambda s: asks[s.judged.overload]))
    hard = [n for n, s in enumerate(stages, start=1) if s.judged.contact_share > 1]
    lines = [table(rows, head, width=80), wrap(note)]
    if hard:
        many = " and ".join(map(str, hard))
        lines.append(wrap(f"Mind: in mesh {many} flanks are pressed by more than the plastic's "
                          "strength in that heat and will wear: grease, or a row that bears "
                          "more."))
    return lines


def _heat(result: Any) -> list[str]:
    heat = result.heat
    case = "is taken to get" if result.loads.case_c is None else "gets"
    lines = [wrap(f"{result.material} softens near {heat.softens_c:.0f} degC. In hot air "
                  f"({heat.warm_c[0]:.0f} degC) it keeps {heat.left_percent[0]:.0f} % of its "
                  f"strength; the motor's case {case} {heat.warm_c[1]:.0f} degC warm, where the "
                  f"pinion on its shaft keeps {heat.left_percent[1]:.0f} %.")]
    if heat.better:
        lines.append(wrap(f"{' or '.join(heat.better)} would bear the motor's heat better."))
    rows = [(p.title, *(f"{b:.0f} ({a:.0f}-{c:.0f})" for a, b, c in (
        p.again_mpa, p.once_mpa, p.softens_c)), f"{p.keeps_percent[0]:.0f} %",
        f"{p.keeps_percent[1]:.0f} %") for p in result.plastics]
    head = ("", "again, MPa", "once, MPa", "softens, degC", "in hot air", "on motor")
    lines += ["", table(rows, head, width=80), wrap(
        "again: what a tooth bears again and again, once: in an overload, both at 20 degC (the "
        "range in which prints come out); then how much of it is left in the heat. "
        + "; ".join(f"{p.title}: {p.note}" for p in result.plastics) + ".")]
    if result.weak_end is not None:
        lines.append(wrap(f"Printed as weak as {result.material} is believed to come, this train "
                          f"bears {result.weak_end:.1f} x of what is asked."))
    return lines


def _made(result: Any) -> list[str]:
    rows = [(f"{s.teeth} teeth, module {number(s.module_mm)}",
             f"{s.span_mm:.2f} mm over {s.over} teeth") for s in result.spans]
    lines = ["Calipers on the printed wheels should read:", table(rows)]
    grip, shaft = result.shaft_grip_mm, result.given.shaft_mm
    if grip < 2 * shaft:
        lines.append(wrap(f"Mind: only {number(grip)} mm of the motor's shaft are inside its "
                          "pinion: glue it, or take a longer shaft (shaft_length_mm in "
                          "[gears])."))
    return lines


def _bought(result: Any) -> list[str]:
    rows = [(f"{b.count} x", b.name, b.what) for b in result.bought]
    return ["To buy or find:", table(rows, right=(0,))]


def _assumed(result: Any) -> list[str]:
    if not result.assumed:
        return []
    rows = [(a.key, f"{number(a.value)} {a.unit}".rstrip()) for a in result.assumed]
    return ["Assumed, for the rig file leaves it out (its [gears]; calipers tell):", table(rows)]


# ---------------------------------------------------------------------------- the files


def sheet_text(result: Any, parts: Any, steps: list[str]) -> str:
    """The sheet that goes with the printed parts."""
    lines = [*_head(result), "", *_verdict(result), "", "Parts to print:", _part_table(parts), "",
             *_bought(result), "", *_made(result), "", "Putting it together:"]
    lines += [item(step, mark=f"{n}. ") for n, step in enumerate(steps, start=1)]
    lines += ["", *_meshes(result), "", *_heat(result), "", *_assumed(result), "",
              *(item(c, mark="! ") for c in CAUTIONS)]
    return "\n".join(lines) + "\n"


def _part_table(parts: Any) -> str:
    rows = [(f"{p.count} x", p.name,
             "-" if p.size_mm is None else " x ".join(f"{x:.0f}" for x in p.size_mm),
             p.what + ("" if p.fits else " - LARGER THAN THE BED")) for p in parts]
    return table(rows, ("", "part", "size, mm", "for"), right=(0,))


def written_text(written: Any) -> str:
    """What was written, and where to begin."""
    result = written.result
    lines = [*_verdict(result), "", _part_table(written.parts), ""]
    lines.append(wrap(f"Written into {shown_path(written.folder)}: {', '.join(written.files)}"))
    if written.no_picture:
        lines.append(wrap(f"No picture: {written.no_picture}"))
    if written.no_bodies:
        lines.append(wrap(f"Nothing to print yet: {written.no_bodies} The drawings, the page and "
                          "the list need none. What it adds: an STL file of each part, and all "
                          "of them in one 3MF file."))
    for name in written.kept:
        lines.append(wrap(f"{name} is of an earlier train and was changed since: left alone."))
    large = [p.name for p in written.parts if not p.fits]
    if large:
        lines += ["", wrap(f"LARGER THAN THE BED: {', '.join(large)}. Saw it of wood by the "
                           "drawing, make the crank shorter (radius_mm in [crank]), or print it "
                           "elsewhere.")]
    lines += ["", *(item(c, mark="! ") for c in CAUTIONS), ""]
    if written.no_bodies:
        lines.append(wrap(f"next: {extras.install('print')}, then the same command again"))
    else:
        lines.append(wrap("next: print coupon.stl and measure it; train.html shows the rest"))
    return "\n".join(lines) + "\n"
