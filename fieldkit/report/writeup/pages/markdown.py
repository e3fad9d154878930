"""Markdown of notebooks as HTML, with formulas drawn offline."""

import base64
import html


def to_html(text):
    from nbconvert.filters.markdown_mistune import IPythonRenderer, MarkdownWithMath

    class Formulas(IPythonRenderer):
        def inline_math(self, body):
            return _formula(body)

        block_math = inline_math

    return MarkdownWithMath(renderer=Formulas(escape=False, exclude_anchor_links=True)).render(text)


def _formula(tex):
    from fieldkit.report.figures.style import formula

    drawn = formula(tex)
    words = html.escape(" ".join(tex.split()), quote=True)
    if drawn is None:
        return f"<code>{words}</code>"
    return f'<img src="data:image/svg+xml;base64,{base64.b64encode(drawn.encode()).decode()}" alt="{words}">'


def html5():
    """Letters as they are, no slash in void elements."""
    from bs4.dammit import EntitySubstitution
    from bs4.formatter import HTMLFormatter

    return HTMLFormatter(EntitySubstitution.substitute_xml, void_element_close_prefix="")
