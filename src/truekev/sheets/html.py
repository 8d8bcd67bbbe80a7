"""A sheet as a fragment of HTML; every text is escaped, no script, no style, no outside address."""

from __future__ import annotations

import base64
from collections.abc import Callable
from html import escape

from truekev.sheets.content import Blanks, Fact, Facts, Figure, Grid, Label, Part, Sheet, Steps, Words
from truekev.sheets.trefoil import trefoil_svg

__all__ = ["sheet_html"]

FigureAddress = Callable[[int, Figure], str]


def _inline(_number: int, figure: Figure) -> str:
    return "data:image/png;base64," + base64.b64encode(figure.png).decode()


def sheet_html(sheet: Sheet, figure_address: FigureAddress = _inline) -> str:
    """The sheet as one `<article class="sheet">`.

    Parameters
    ----------
    sheet : Sheet
        Its content.
    figure_address : callable
        Address of the figure with that number; without it the picture stands in the fragment itself.
    """
    body = [f"<header><h1>{escape(sheet.title)}</h1><p>{escape(sheet.subtitle)}</p></header>"]
    if sheet.cautions:
        body.append(_cautions(sheet.cautions))
    if sheet.inputs:
        body.append(_facts("Inputs", sheet.inputs))
    if sheet.results:
        body.append(_facts("Results", sheet.results))
    number = 0
    for part in sheet.parts:
        body.append(_part(part, number, figure_address))
        number += isinstance(part, Figure)
    if sheet.versions:
        lines = "".join(f"<li>{escape(line)}</li>" for line in sheet.versions)
        body.append(f'<footer class="versions"><ul>{lines}</ul></footer>')
    if sheet.sign:
        lines = "".join(f"<p>{escape(who)} <span></span></p>" for who in sheet.sign)
        body.append(f'<section class="sign">{lines}</section>')
    return f'<article class="sheet">{"".join(body)}</article>'


def _cautions(texts: tuple[str, ...]) -> str:
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f'<section class="cautions" aria-label="Cautions"><ul>{items}</ul></section>'


def _facts(title: str, facts: tuple[Fact, ...]) -> str:
    rows = "".join(
        f"<div><dt>{escape(f.name)}</dt><dd>{escape(f.value)}"
        + (f" <small>{escape(f.remark)}</small>" if f.remark else "")
        + "</dd></div>"
        for f in facts
    )
    return f'<section class="facts"><h2>{escape(title)}</h2><dl>{rows}</dl></section>'


def _part(part: Part, number: int, figure_address: FigureAddress) -> str:
    match part:
        case Facts():
            return _facts(part.title, part.facts)
        case Grid():
            return _grid(part.title, part.columns, part.rows)
        case Steps():
            items = "".join(
                f"<li{' class=unattended' if step.unattended else ''}><p><time>{escape(step.when)}</time> "
                f"{escape(step.what)}</p>{_cautions(step.cautions) if step.cautions else ''}</li>"
                for step in part.steps
            )
            return f'<section class="steps"><h2>{escape(part.title)}</h2><ol>{items}</ol></section>'
        case Words():
            text = "".join(f"<p>{escape(p)}</p>" for p in part.paragraphs)
            return f'<section class="words"><h2>{escape(part.title)}</h2>{text}</section>'
        case Blanks():
            lines = "".join(f"<p>{escape(line)} <span></span></p>" for line in part.lines)
            empty = (("",) * len(part.columns),) * part.n_rows
            table = _grid("", part.columns, empty) if part.columns else ""
            return f'<section class="blanks"><h2>{escape(part.title)}</h2>{lines}{table}</section>'
        case Figure():
            address = escape(figure_address(number, part), quote=True)
            return (
                f'<figure><img src="{address}" alt="{escape(part.alternative, quote=True)}">'
                f"<figcaption>{escape(part.caption)}</figcaption></figure>"
            )
        case Label():
            symbol = trefoil_svg(0.45 * part.height_mm) if part.trefoil else ""
            lines = "".join(f"<p>{escape(line)}</p>" for line in part.lines)
            return f'<section class="label">{symbol}<div><h3>{escape(part.heading)}</h3>{lines}</div></section>'


def _grid(title: str, columns: tuple[str, ...], rows: tuple[tuple[str, ...], ...]) -> str:
    head = "".join(f'<th scope="col">{escape(column)}</th>' for column in columns)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    caption = f"<caption>{escape(title)}</caption>" if title else ""
    # wider than a phone, so that it scrolls: the keyboard must reach it
    reached = f'tabindex="0" role="region" aria-label="{escape(title or "to fill in")}"'
    return (
        f'<div class="grid" {reached}><table>{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'
    )
