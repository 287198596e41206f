"""Formulas as MathML, which browsers draw themselves: no script, no font and no request to anywhere.

TeX is translated by docutils, on which Sphinx rests.
"""

from __future__ import annotations

from docutils import nodes
from docutils.utils.math.latex2mathml import tex2mathml
from sphinx.writers.html5 import HTML5Translator


def inline_formula(translator: HTML5Translator, node: nodes.math) -> None:
    """Write a formula that stands in a sentence.

    Raises
    ------
    SkipNode
        Always: nothing else of the node is to be written.
    """
    translator.body.append(tex2mathml(node.astext(), as_block=False))
    raise nodes.SkipNode


def block_formula(translator: HTML5Translator, node: nodes.math_block) -> None:
    """Write a formula that stands by itself.

    Raises
    ------
    SkipNode
        Always: nothing else of the node is to be written.
    """
    formula = tex2mathml(node.astext(), as_block=True)
    translator.body.append(f'<div class="formula">{formula}</div>\n')
    raise nodes.SkipNode
