"""What a flag says: what was read, what the others say, the likely slip, and what to do about it."""

from __future__ import annotations

from alignment.lengths import decimal, show
from alignment.machine.layout import Layout
from alignment.machine.slips import SlipKind
from alignment.show.words.phrases import counted, unit_mark
from alignment.show.words.slips import slip_words
from alignment.train.flags.flag import Basis, Flag, FlagKind

__all__ = ["flag_words"]


def flag_words(flag: Flag, layout: Layout) -> str:
    """The whole message of a flag, in the layout's units."""
    return {
        FlagKind.line_moved: _line_moved,
        FlagKind.stray: _stray,
        FlagKind.off_target: _off_target,
        FlagKind.unlikely: _unlikely,
        FlagKind.line_skewed: _line_skewed,
        FlagKind.spread: _spread,
        FlagKind.scatter: _scatter,
        FlagKind.lone: _lone,
    }[flag.flag](flag, layout)


def _hint(flag: Flag) -> str:
    """Likely slip as a sentence with a blank before it; empty where none fits."""
    return f" Perhaps {slip_words(flag.hint)}." if flag.hint else ""


def _length(length: float, layout: Layout) -> str:
    return f"{show(length, layout.units)}{unit_mark(layout.units)}"


def _line_moved(flag: Flag, layout: Layout) -> str:
    first, last = flag.read
    numbers = flag.numbers
    return (
        f"String {flag.string} moved, or the tape did: {flag.section}, {flag.point} read {first} at first and "
        f"{last} at the end. That is {_length(abs(numbers['change']), layout)} apart; up to "
        f"{decimal(numbers['allowed'], layout.units)} can be chance.{_hint(flag)} Read it once more. If it stays so, "
        "hang the string again and read the row again."
    )


def _stray(flag: Flag, layout: Layout) -> str:
    says = flag.numbers["expected"]
    if flag.beside:
        return (
            f"{flag.section} / {flag.beside}: step read {flag.read[0]}, the tape readings beside it say "
            f"{show(says, layout.units, signed=True)}{unit_mark(layout.units)}. Measure the step again, and read "
            f"{flag.section} at its exit and {flag.beside} at its entry end."
        )
    said = f"{flag.section}, {flag.point}: read {flag.read[0]}, the others say {_length(says, layout)}."
    others = " or ".join(f"{point} ({text})" for point, text in flag.others)
    if not flag.decided:
        said += f" It may as well be {others} that is wrong: nothing here tells which. Read all of them again."
    else:
        told = f" Its section alone could not tell it from {others}; the neighbours or the target did."
        said += f"{_hint(flag)}{told if others else ''} Read it again."
    return f"{said} (The smallest slip seen here: {_length(flag.numbers['detectable'], layout)}.)"


def _off_target(flag: Flag, layout: Layout) -> str:
    slip = flag.numbers["slip"]
    by = f"{_length(abs(slip), layout)} {'too far from' if slip > 0 else 'too near to'} it"
    if flag.string:
        return (
            f"All {counted(round(flag.number), 'section')} on string {flag.string} read {by} alike: the string hangs "
            "elsewhere than the wanted readings say, or the tape does not start at its zero. Measure where the string "
            "hangs before moving any section."
        )
    said = f"{flag.section}, {flag.point}: read {flag.read[0]}, "
    if flag.basis is Basis.target:
        said += f"{_length(abs(slip), layout)} {'more' if slip > 0 else 'less'} than is wanted there."
    else:
        said += f"{_length(abs(slip), layout)} {'more' if slip > 0 else 'less'} than its row's other readings say."
    return f"{said}{_hint(flag)} Read it again. If it reads the same, the section really is there."


def _unlikely(flag: Flag, layout: Layout) -> str:
    if flag.hint is not None and flag.hint.kind is SlipKind.ends:
        return (
            f"{flag.section}: read {' and '.join(flag.read)}; the other way round they would follow the neighbours far "
            "better. Perhaps the ends were swapped. Read both again before moving anything."
        )
    text = flag.reading.text if flag.reading else ""
    return (
        f"{flag.section}, {flag.point}: read {text}; its neighbours suggest about "
        f"{_length(flag.numbers['expected'], layout)}.{_hint(flag)} Nothing in its own section checks it: read it "
        "again before moving anything."
    )


def _line_skewed(flag: Flag, layout: Layout) -> str:
    units, numbers = layout.units, flag.numbers
    ends = ", ".join(
        f"its {end} end {_length(abs(numbers[end]), layout)} {'nearer to' if numbers[end] > 0 else 'farther from'} the "
        "faces"
        for end in ("entry", "exit")
        if abs(numbers[end]) > max(numbers["U"] / 2, layout.tape.mark / 4)
    )
    grow = numbers["grow"]
    away = f"Hanging {ends} would" if ends else "A straight line through them would"
    return (
        f"All sections on string {flag.string} slope the same way, {_length(abs(grow), layout)} "
        f"{'away from' if grow > 0 else 'toward'} it over {_length(numbers['over'], layout)} "
        f"(U {decimal(numbers['U'], units)}): the string is probably crooked. {away} explain {100 * flag.number:.0f} % "
        "of it: look at the string before moving any section."
    )


def _spread(flag: Flag, layout: Layout) -> str:
    units, numbers = layout.units, flag.numbers
    apart = f"{decimal(numbers['spread'], units)}{unit_mark(units)} apart"
    return (
        f"{flag.section}, {flag.point}: read {', '.join(flag.read)}: {apart}. Repeats with this tape stay within "
        f"{decimal(numbers['allowed'], units)}. Read this point again."
    )


def _scatter(flag: Flag, layout: Layout) -> str:
    off = flag.numbers["off"]
    point, text = flag.others[0]
    return (
        f"{flag.section}: its {len(flag.read)} readings do not lie on one straight face as well as this tape allows "
        f"(U is grown {flag.number:.1f} times). Farthest off: {point}, read {text}, {_length(abs(off), layout)} "
        f"{'more' if off > 0 else 'less'} than the others say. Read it again."
    )


def _lone(flag: Flag, _layout: Layout) -> str:
    return f"{flag.section}, {flag.point}: read once ({flag.read[0]}); no other reading checks it."
