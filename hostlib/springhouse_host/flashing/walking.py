"""All parts of a syntax tree, faster than `ast.walk`: a build asks for a million of them."""

import ast

_SIGNS = (ast.expr_context, ast.operator, ast.unaryop, ast.boolop, ast.cmpop)


def parts(tree: ast.AST) -> list[ast.AST]:
    """Return a tree and everything below it, the upper ones first, in the order of `ast.walk`.

    Operators and contexts are left out; they are fields of what they belong to.
    """
    found = [tree]
    for part in found:
        for field in part._fields:
            value = getattr(part, field, None)
            for each in value if isinstance(value, list) else (value,):
                if isinstance(each, ast.AST) and not isinstance(each, _SIGNS):
                    found.append(each)
    return found
