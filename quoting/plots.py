"""
Plots of a comparison and of what moves a margin, as SVG whose text is text.

The same figures give the same bytes: a fixed salt, no date. Colours differ in lightness too, lines in
dash and areas in hatching, so that nothing hangs on seeing colour. Every number was rounded before.
"""

from __future__ import annotations

import io
import logging
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from decimal import Decimal
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quoting.compare import Cell, Comparison, Variant
from quoting.errors import DocumentError
from quoting.languages import SOURCE, Language, message
from quoting.numbers import whole_nearest
from quoting.what_if import Swing

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK, QUIET, PAPER = "#1d1a17", "#6b645b", "#ffffff"
# Lightness 25, 55, 80: told apart in grey. After the palette of Okabe and Ito 2008 (from memory).
BLUE, ORANGE, PALE = "#00507a", "#d07a00", "#bfd9e8"
_MAKE_UP = (
    (message("Labour"), BLUE, ""),
    (message("Materials"), ORANGE, "////"),
    (message("Bought in"), PALE, "\\\\\\\\"),
    (message("Left over"), "#f3eee6", ""),
)
_FAMILY = "'Quotation Serif', 'Quotation Japanese', 'Source Serif Pro', Georgia, serif"
_SETTINGS: Any = {
    "svg.fonttype": "none",
    "text.parse_math": False,  # a dollar in a name is a dollar
    "font.family": ["Source Serif Pro", "Noto Sans CJK JP"],
    "font.size": 9,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 11,
    "axes.titleweight": "semibold",
    "axes.titlelocation": "left",
    "axes.titlepad": 12,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.linewidth": 0.6,
    "legend.frameon": False,
}
MOST_MARKED = 12
MOST_FIGURES = 18
CLOSEST = 0.025  # of the axis: nearer, two words beside their lines run into each other
LEAST_TOLD = 6  # per cent of a bar: less has no room for its figure
LEAST_RANGE = 5  # per cent: no drama of colour where the margins hardly differ
_LOCK = threading.Lock()  # matplotlib's settings belong to the whole process


@contextmanager
def _drawing() -> Iterator[None]:
    """Matplotlib with our settings and the documents' own face."""
    import matplotlib
    from matplotlib import font_manager

    logging.getLogger("matplotlib.font_manager").setLevel(logging.ERROR)  # the Japanese face has one weight only
    with _LOCK, matplotlib.rc_context(_SETTINGS):
        known = {Path(face.fname).name for face in font_manager.fontManager.ttflist}
        for path in _faces():
            if path.name not in known:
                font_manager.fontManager.addfont(path)
        yield


def _faces() -> list[Path]:
    found = find_spec("font_source_serif_pro")
    if found is None or found.origin is None:
        raise DocumentError("expected the package font-source-serif-pro; found none: pip install it")
    serif = sorted((Path(found.origin).parent / "files").glob("SourceSerifPro-[RS]e*.ttf"))
    japanese = find_spec("noto_cjk_sans_jp_regular")  # an extra: its lack shows where a page is made
    folder = Path(japanese.origin).parent if japanese is not None and japanese.origin else None
    return [*serif, *(folder.glob("NotoSansCJKjp-Regular.otf") if folder else ())]


def _figure(width: float, height: float, *, before: float = 0.0) -> Figure:
    """A figure; ``before`` is the share of its width kept free for labels of another, wider face."""
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    room = ConstrainedLayoutEngine(w_pad=0.14, h_pad=0.06, rect=(before, 0, 1 - before, 1))  # pads in inches
    return Figure(figsize=(width, height), layout=room, facecolor=PAPER)


def _svg(figure: Any, title: str, told: str) -> str:
    """The figure as SVG, with a title and a description for those who do not see it."""
    from xml.sax.saxutils import escape

    import matplotlib

    text = io.StringIO()
    with matplotlib.rc_context({"svg.hashsalt": told}):  # no two plots of one page share an id
        figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None, "Title": title})
    svg = text.getvalue()
    svg = svg[svg.index("<svg") :]
    head, _, rest = svg.partition(">")
    named = f'{head} role="img"><title>{escape(title)}</title><desc>{escape(told)}</desc>{rest}'
    return named.replace("'Source Serif Pro'", _FAMILY)


def price_and_cost(comparison: Comparison, variant: Variant, language: Language = SOURCE) -> str:
    """Price and cost against quantity, with what changes on the way: another plan, another count of packs."""
    cells = variant.cells
    counts = [cell.quantity for cell in cells]
    nets, costs = [float(cell.net) for cell in cells], [float(cell.cost) for cell in cells]
    say, title = language.say, language.say("Price and cost")
    with _drawing():
        figure = _figure(7, 3.2)
        axes = figure.subplots()
        size = 4 if len(cells) <= MOST_MARKED else 0
        axes.plot(counts, nets, color=BLUE, marker="o", label=say("Price, before tax"), markersize=size)
        axes.plot(counts, costs, color=ORANGE, marker="s", linestyle="--", label=say("Cost"), markersize=size)
        axes.fill_between(counts, costs, nets, color=PALE, alpha=0.4, linewidth=0)
        _mark_changes(axes, variant, language)
        axes.set(
            xlabel=say("Quantity"),
            ylabel=comparison.currency,
            xlim=(0, max(counts) * 1.04),
            ylim=(0, max(nets) * 1.08),
        )
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_formatter(lambda at, _: language.number(whole_nearest(Decimal(at))))
        axes.legend(loc="upper left", frameon=True, framealpha=1, edgecolor=PAPER)
        _title(axes, title, variant.label)
        return _svg(figure, f"{title}: {variant.label}", _price_words(cells, language))


def _title(axes: Any, title: str, under: str) -> None:
    """A title, and under it in small what it is of."""
    axes.set_title(title, pad=24 if under else 10)
    if under:
        axes.annotate(
            under,
            (0, 1),
            xycoords="axes fraction",
            xytext=(0, 10),
            textcoords="offset points",
            fontsize=8,
            color=QUIET,
        )


def _mark_changes(axes: Any, variant: Variant, language: Language) -> None:
    """A line where another plan begins, and one where more packs are bought."""
    plans = {plan.quantity: language.say("another plan") for plan in variant.plans[1:]}
    packs = {cell.quantity: language.say("more packs") for cell in variant.cells if "packs" in cell.changed}
    marks = packs | plans
    room, told_at = max(marks, default=0) * CLOSEST, 0.0
    for quantity, told in sorted(marks.items()):
        line = "-" if quantity in plans else ":"
        axes.axvline(quantity, color=QUIET, linewidth=0.7, linestyle=line, zorder=0)
        if quantity - told_at < room or len(marks) > MOST_MARKED:
            continue
        told_at = quantity
        axes.annotate(
            told,
            (quantity, 0),
            xycoords=("data", "axes fraction"),
            xytext=(-2, 4),
            textcoords="offset points",
            rotation=90,
            ha="right",
            va="bottom",
            fontsize=7.5,
            color=QUIET,
        )


def changed_words(cell: Cell, language: Language) -> str:
    """What is not as it was at the quantity before."""
    return ", ".join(language.say(one) for one in cell.changed)


def _price_words(cells: Sequence[Cell], language: Language) -> str:
    return "; ".join(
        language.say(
            "{quantity}: price {price}, cost {cost}",
            quantity=language.number(cell.quantity),
            price=_told(cell.net, language),
            cost=_told(cell.cost, language),
        )
        for cell in cells
    )


def _told(figure: object, language: Language) -> str:
    """A figure that is rounded already, with the region's decimal mark."""
    return str(figure).replace(".", language.decimal_mark)


def margins(comparison: Comparison, language: Language = SOURCE) -> str:
    """The margin of every variant at every quantity; each square says its figure."""
    rows = [variant for variant in comparison.variants if variant.cells]
    title = language.say("Margin, in per cent of the price")
    shown = [[float(cell.margin * 100) for cell in variant.cells] for variant in rows]
    with _drawing():
        figure = _figure(7, 1.3 + 0.42 * len(rows))
        axes = figure.subplots()
        low, high = min(min(row) for row in shown), max(max(row) for row in shown)
        mesh = axes.pcolormesh(
            shown, cmap="cividis", vmin=low, vmax=max(high, low + LEAST_RANGE), edgecolors=PAPER, linewidth=1.5
        )
        axes.invert_yaxis()
        if len(comparison.quantities) <= MOST_FIGURES:
            _figures_on(axes, mesh, shown, language)
        else:
            figure.colorbar(mesh, ax=axes, pad=0.01).outline.set_visible(False)
        axes.set(title=title, xlabel=language.say("Quantity"))
        step = 1 + (len(comparison.quantities) - 1) // MOST_MARKED
        places = list(range(0, len(comparison.quantities), step))
        axes.set_xticks(
            [place + 0.5 for place in places], [language.number(comparison.quantities[place]) for place in places]
        )
        axes.set_yticks(_middles(len(rows)), [_short(variant, rows) for variant in rows])
        axes.tick_params(length=0)
        axes.spines[:].set_visible(False)
        told = "; ".join(
            f"{variant.label}: "
            + "; ".join(
                f"{language.number(cell.quantity)}: {_told(f'{cell.margin * 100:.1f}', language)} %"
                for cell in variant.cells
            )
            for variant in rows
        )
        return _svg(figure, title, told)


def _figures_on(axes: Any, mesh: Any, shown: Sequence[Sequence[float]], language: Language) -> None:
    """Each square's own figure, written on it."""
    for place, row in enumerate(shown):
        for column, value in enumerate(row):
            axes.text(
                column + 0.5,
                place + 0.5,
                _told(f"{value:.1f}", language),
                ha="center",
                va="center",
                color=_on(mesh, value),
                fontsize=8.5 if len(row) <= MOST_MARKED else 7,
            )


def _middles(count: int) -> list[float]:
    return [place + 0.5 for place in range(count)]


def _on(mesh: Any, value: float) -> str:
    """Dark on light squares, light on dark ones."""
    red, green, blue, _ = mesh.cmap(mesh.norm(value))
    return INK if 0.2126 * red + 0.7152 * green + 0.0722 * blue > 0.42 else PAPER


def _short(variant: Variant, rows: Sequence[Variant]) -> str:
    """What tells a variant from the others: what is the same in all of them is left out."""
    told = []
    for field in ("size", "stock", "press"):
        if len({getattr(row, field) for row in rows}) > 1 and getattr(variant, field):
            told.append(getattr(variant, field))
    return "\n".join(told) or variant.size


def make_up(comparison: Comparison, variant: Variant, language: Language = SOURCE) -> str:
    """What each price is made of: labour, materials, what is bought in, what is left over."""
    say, title = language.say, language.say("What the price is made of")
    step = 1 + (len(variant.cells) - 1) // MOST_MARKED
    cells = variant.cells[::step]
    with _drawing():
        figure = _figure(7, 1.4 + 0.32 * len(cells))
        axes = figure.subplots()
        starts = [0.0] * len(cells)
        for name, colour, hatch in _MAKE_UP:
            widths = [_share(cell, name) for cell in cells]
            bars = axes.barh(
                range(len(cells)),
                widths,
                left=starts,
                color=colour,
                hatch=hatch,
                edgecolor=INK,
                linewidth=0.5,
                height=0.66,
                label=say(name),
            )
            labels = [f"{width:.0f} %" if width >= LEAST_TOLD else "" for width in widths]
            told = axes.bar_label(
                bars, labels=labels, label_type="center", fontsize=8, color=PAPER if name == "Labour" else INK
            )
            if hatch:
                for label in told:
                    label.set_bbox({"facecolor": PAPER, "edgecolor": "none", "pad": 1.2})
            starts = [start + width for start, width in zip(starts, widths, strict=True)]
        axes.set_yticks(range(len(cells)), [language.number(cell.quantity) for cell in cells])
        axes.invert_yaxis()
        axes.set(xlabel=say("Per cent of the price before tax"), ylabel=say("Quantity"), xlim=(0, 100))
        _title(axes, title, variant.label)
        axes.legend(
            loc="upper center", bbox_to_anchor=(0.5, {1: -0.75, 2: -0.48, 3: -0.34}.get(len(cells), -0.2)), ncols=4
        )
        said = "; ".join(
            f"{language.number(cell.quantity)}: "
            + ", ".join(f"{say(name)} {_share(cell, name):.0f} %" for name, _, _ in _MAKE_UP)
            for cell in cells
        )
        return _svg(figure, f"{title}: {variant.label}", said)


def _share(cell: Cell, name: str) -> float:
    """A part of the net price, in per cent; cost over the price shows as nothing left over."""
    parts = {"Labour": cell.labour, "Materials": cell.materials, "Bought in": cell.bought_in}
    part = parts.get(name, max(cell.net - cell.cost, cell.net * 0))
    return float(part / cell.net * 100) if cell.net else 0.0


def tornado(swings: Sequence[Swing], under: str) -> str:
    """How far each input, over its own spread, moves the margin; the widest on top."""
    title = "What moves the margin most"
    with _drawing():
        figure = _figure(7, 1.4 + 0.36 * len(swings), before=0.08)
        axes = figure.subplots()
        for place, swing in enumerate(swings):
            ends = ((swing.margin_at_low, swing.low), (swing.margin_at_high, swing.high))
            worse, better = sorted((float(margin * 100), written) for margin, written in ends)
            axes.barh(
                place, better[0] - worse[0], left=worse[0], color=PALE, edgecolor=INK, linewidth=0.5, height=0.62
            )
            axes.annotate(
                worse[1],
                (worse[0], place),
                xytext=(-3, 0),
                textcoords="offset points",
                ha="right",
                va="center",
                fontsize=7.5,
            )
            axes.annotate(
                better[1],
                (better[0], place),
                xytext=(3, 0),
                textcoords="offset points",
                ha="left",
                va="center",
                fontsize=7.5,
            )
        if swings:
            axes.axvline(float(swings[0].margin_at_usual * 100), color=INK, linewidth=0.8)
        axes.set_yticks(range(len(swings)), [swing.key for swing in swings], fontsize=8)
        axes.invert_yaxis()
        reached = [float(end * 100) for swing in swings for end in (swing.margin_at_low, swing.margin_at_high)]
        room = (max(reached) - min(reached)) * 0.12 + 0.1
        axes.set(
            xlim=(min(reached) - room, max(reached) + room),
            xlabel="Margin at the same price, per cent; the line: all as usual",
        )
        _title(axes, title, under)
        told = "; ".join(
            f"{swing.key}: {swing.margin_at_low * 100:.1f} at {swing.low},"
            f" {swing.margin_at_high * 100:.1f} at {swing.high}"
            for swing in swings
        )
        return _svg(figure, title, told)


def plots_of(comparison: Comparison) -> dict[str, str]:
    """Every plot of a comparison by a name for its file; none of what cannot be made."""
    made = [variant for variant in comparison.variants if variant.cells]
    if not made:
        return {}
    found = {"margins": margins(comparison)}
    for place, variant in enumerate(made, start=1):
        ending = f"-{place}" if len(made) > 1 else ""
        found[f"price-and-cost{ending}"] = price_and_cost(comparison, variant)
        found[f"make-up{ending}"] = make_up(comparison, variant)
    return found
