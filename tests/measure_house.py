"""Print the measures of the code: `python tests/measure_house.py [ROOT]`, also for an older checkout to compare with.

Files a folder, lines, longest file and function (lines of code, without docstring), cyclomatic complexity (McCabe 1976,
decisions plus one), public names, and how many public docstrings have parameters, returns, an example and units.
"""

import ast
import sys
from collections import Counter
from pathlib import Path

DECISIONS = (ast.If, ast.IfExp, ast.For, ast.While, ast.ExceptHandler, ast.comprehension, ast.Assert, ast.match_case)


def code_lines(function):
    """Lines of a function that hold code: without its docstring, comments and blank lines are not told apart by ast."""
    body = function.body
    if isinstance(body[0], ast.Expr) and isinstance(getattr(body[0], "value", None), ast.Constant):
        body = body[1:]
    lines = {line for node in body for n in ast.walk(node) if hasattr(n, "lineno") for line in (n.lineno, n.end_lineno)}
    return len(lines)


def complexity(function):
    """McCabe's number: one more than the decisions."""
    count = 1
    for node in ast.walk(function):
        count += isinstance(node, DECISIONS)
        count += len(node.values) - 1 if isinstance(node, ast.BoolOp) else 0
    return count


def functions(tree):
    """(function, whether it is public) of the top level and of public classes."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            yield node, not node.name.startswith("_")
        elif isinstance(node, ast.ClassDef):
            for part in node.body:
                if isinstance(part, ast.FunctionDef):
                    yield part, False


def measures(root):
    """Everything as one dictionary."""
    files = sorted(Path(root, "fieldkit").rglob("*.py"))
    texts = {path: path.read_text(encoding="utf-8") for path in files}
    trees = {path: ast.parse(text) for path, text in texts.items()}
    every = [(path, f, public) for path, tree in trees.items() for f, public in functions(tree)]
    public = [f for _, f, is_public in every if is_public]
    docs = [ast.get_docstring(f) or "" for f in public]
    stubs = [path.with_suffix(".pyi") for path in files if path.with_suffix(".pyi").exists()]
    faces = sum(stub.read_text(encoding="utf-8").count("import ") for stub in stubs)
    longest = max(texts, key=lambda path: texts[path].count("\n"))
    slowest = max(every, key=lambda item: code_lines(item[1]))
    knottiest = max(every, key=lambda item: complexity(item[1]))
    crowded = Counter(path.parent for path in files).most_common(1)[0]

    def named(item):
        return f"{item[0].relative_to(root)}:{item[1].name}"

    def share(test):
        return f"{100 * sum(map(test, docs)) / len(docs):.0f} %"

    with_arguments = [d for f, d in zip(public, docs) if f.args.args or f.args.kwonlyargs]
    return {
        "files": len(files),
        "lines": sum(text.count("\n") for text in texts.values()),
        "most files in a folder": f"{crowded[1]} ({crowded[0].relative_to(root)})",
        "longest file": f"{texts[longest].count(chr(10))} ({longest.relative_to(root)})",
        "files over 450 lines": sum(text.count("\n") > 450 for text in texts.values()),
        "longest function": f"{code_lines(slowest[1])} ({named(slowest)})",
        "functions over 60 lines of code": sum(code_lines(f) > 60 for _, f, _ in every),
        "highest complexity": f"{complexity(knottiest[1])} ({named(knottiest)})",
        "functions over complexity 20": sum(complexity(f) > 20 for _, f, _ in every),
        "public functions in files": len(public),
        "names on public faces": faces,
        "public docstrings": share(bool),
        "… with an example": share(lambda d: ">>>" in d),
        "… with returns or yields": share(lambda d: "Returns\n---" in d or "Yields\n---" in d),
        "… with parameters": f"{100 * sum('Parameters' in d for d in with_arguments) / len(with_arguments):.0f} %",
    }


if __name__ == "__main__":
    for name, value in measures(Path(sys.argv[1] if len(sys.argv) > 1 else ".").resolve()).items():
        print(f"{name:40} {value}")
