"""A page as HTML: a fragment for a browser, without looks or scripts of its own."""

from __future__ import annotations

from html import escape

from alignment.show.page import Block, Cautions, Degree, Items, Page, Table, Text, shown

__all__ = ["render"]


def render(page: Page, degree: Degree = Degree.first, *, level: int = 1) -> str:
    """
    Draw a page as a fragment of HTML.

    Parameters
    ----------
    page : Page
    degree : Degree
        How much of it.
    level : int
        Of the title's heading; parts are one below it.

    Returns
    -------
    str
        Every text escaped; blocks carry the class names ``strong``, ``cautions`` and ``act``, and table columns of
        numbers ``number``.
    """
    lines = [f"<h{level}>{escape(page.title)}</h{level}>"] if page.title else []
    for part in shown(page, degree):
        lines.append("<section>")
        if part.heading:
            lines.append(f"<h{level + 1}>{escape(part.heading)}</h{level + 1}>")
        lines += map(_block, part.blocks)
        lines.append("</section>")
    if page.act:
        lines.append(f'<p class="act">{escape(page.act)}</p>')
    return "\n".join(lines) + "\n"


def _block(block: Block) -> str:
    if isinstance(block, Text):
        return f'<p class="strong">{escape(block.words)}</p>' if block.strong else f"<p>{escape(block.words)}</p>"
    if isinstance(block, Items):
        box = "&#9744; " if block.boxes else ""
        entries = "".join(
            f"<li>{box}{escape(item.words)}{''.join(f'<br>{escape(more)}' for more in item.more)}</li>"
            for item in block.items
        )
        return f"<ol>{entries}</ol>" if block.numbered else f"<ul>{entries}</ul>"
    if isinstance(block, Cautions):
        if not block.numbered:
            return f'<p class="cautions">{escape(" ".join(block.lines))}</p>'
        return f'<ol class="cautions">{"".join(f"<li>{escape(line)}</li>" for line in block.lines)}</ol>'
    return _table(block)


def _table(table: Table) -> str:
    def cell(tag: str, text: str, side: str, scope: str = "") -> str:
        number = ' class="number"' if side == "r" else ""
        return f"<{tag}{scope}{number}>{escape(text)}</{tag}>"

    caption = f"<caption>{escape(table.title)}</caption>" if table.title else ""
    head = "".join(cell("th", text, side, ' scope="col"') for text, side in zip(table.head, table.sides, strict=True))
    rows = []
    for first, *rest in table.rows:
        cells = cell("th", first, table.sides[0], ' scope="row"')
        cells += "".join(cell("td", text, side) for text, side in zip(rest, table.sides[1:], strict=True))
        rows.append(f"<tr>{cells}</tr>")
    note = f"<p>{escape(table.note)}</p>" if table.note else ""
    return f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>{note}"
