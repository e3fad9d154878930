"""Would the tests notice a slip in targets and audit? One change at a time in a copy in memory, and the fast tests.

python tests/studies/study_mutants.py [--mutants 150] [--seed 0] [--show]

A mutant is one number, comparison, sign, "and"/"or" or a word of a pair (day and night, low and high …) changed in one
of the modules below. Each runs in a process of its own, forked after everything was imported, against the tests that
were worked by hand. A mutant that no test notices is printed with its line. POSIX only.
"""

import argparse
import ast
import copy
import importlib
import os
import sys
from pathlib import Path

import numpy as np

TESTS = Path(__file__).parents[1]
ROOT = TESTS.parent
# Module and the functions that are mutated (None: all).
PLACES = {
    "fieldkit.captive.targets.standards": None,
    "fieldkit.captive.targets.climate_rows": None,
    "fieldkit.captive.targets.place_rows": None,
    "fieldkit.captive.audit.contact": None,
    "fieldkit.captive.audit.status": None,
    "fieldkit.captive.audit.run": ("compare",),
    "fieldkit.captive.audit.judge": ("_overrule", "_reach"),
    "fieldkit.captive.audit.fixes": ("_reconciled", "_opposed", "_defer", "how_often"),
    "fieldkit.captive.audit.means": ("limit_p", "holm", "daily", "beyond"),
}
PAIRS = (("day", "night"), ("low", "high"), ("cool end", "retreat"), ("limit", "caution"), ("missed", "met"))
WORDS = {a: b for pair in PAIRS for a, b in (pair, pair[::-1])}
COMPARE = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
ARITHMETIC = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}


def sites(tree, functions):
    """Nodes that can be changed, as (kind, path of the walk)."""
    found = []
    for number, node in enumerate(ast.walk(tree)):
        if functions is not None and not getattr(node, "inside", False):
            continue
        if getattr(node, "skipped", False):
            continue
        if isinstance(node, ast.Constant) and type(node.value) in (int, float):
            found.append((number, "number"))
        elif isinstance(node, ast.Constant) and node.value in WORDS:
            found.append((number, "word"))
        elif isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARE:
            found.append((number, "comparison"))
        elif isinstance(node, ast.BinOp) and type(node.op) in ARITHMETIC:
            found.append((number, "arithmetic"))
        elif isinstance(node, ast.BoolOp):
            found.append((number, "and, or"))
    return found


def prepared(module, functions):
    """The tree of a module, with docstrings, messages of errors and what is not asked for marked."""
    tree = ast.parse(Path(module.__file__).read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and functions is not None and node.name in functions:
            for child in ast.walk(node):
                child.inside = True
        # What people read, and annotations, are not arithmetic.
        if isinstance(node, ast.Raise | ast.JoinedStr):
            for child in ast.walk(node):
                child.skipped = True
    return tree


def changed(tree, number, kind):
    """A copy of a tree with one node changed."""
    tree = copy.deepcopy(tree)
    node = list(ast.walk(tree))[number]
    if kind == "number":
        node.value = node.value * 2 + 1 if node.value else 1
    elif kind == "word":
        node.value = WORDS[node.value]
    elif kind == "comparison":
        node.ops[0] = COMPARE[type(node.ops[0])]()
    elif kind == "arithmetic":
        node.op = ARITHMETIC[type(node.op)]()
    else:
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    return ast.fix_missing_locations(tree), node.lineno


def killed(module, tree, tests):
    """Whether a test fails when the module is replaced by a mutant; in a child process."""
    child = os.fork()
    if child == 0:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        code = 1
        try:
            old = dict(module.__dict__)
            exec(compile(tree, module.__file__, "exec"), module.__dict__)
            for other in [m for n, m in list(sys.modules.items()) if n.startswith("fieldkit") and m is not module]:
                for name, value in list(vars(other).items()):
                    if name in old and value is old[name] and name in module.__dict__:
                        setattr(other, name, module.__dict__[name])
            import pytest

            code = pytest.main([*tests, "-x", "-q", "--assert=plain", "-p", "no:cacheprovider"])
        finally:
            os._exit(1 if code else 0)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status) != 0


def main():
    """Print the share of mutants that a test noticed, and those that none did."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mutants", type=int, default=150)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    sys.path.insert(0, str(TESTS))
    os.chdir(ROOT)
    import pandas  # noqa: F401
    import pytest  # noqa: F401
    import scipy.stats  # noqa: F401
    import statsmodels.api  # noqa: F401

    from fieldkit.captive import targets

    targets.photoperiod  # noqa: B018
    every = []
    for name, functions in PLACES.items():
        module = importlib.import_module(name)
        tree = prepared(module, functions)
        every += [(module, tree, number, kind) for number, kind in sites(tree, functions)]
    tests = [str(TESTS / "test_targets_by_hand.py"), str(TESTS / "test_audit_by_hand.py")]
    tests = [t for t in tests if Path(t).exists()]
    module, tree, *_ = every[0]
    if killed(module, copy.deepcopy(tree), tests):
        sys.exit("The tests fail without any change: mend that first.")
    rng = np.random.default_rng(given.seed)
    chosen = rng.choice(len(every), min(given.mutants, len(every)), replace=False)
    alive = 0
    for i in sorted(chosen):
        module, tree, number, kind = every[i]
        mutant, line = changed(tree, number, kind)
        if not killed(module, mutant, tests):
            alive += 1
            text = Path(module.__file__).read_text(encoding="utf-8").splitlines()[line - 1].strip()
            print(f"alive: {module.__name__}:{line} ({kind}) {text}", flush=True)
    print(f"{len(chosen)} of {len(every)} mutants, {len(chosen) - alive} killed: {1 - alive / len(chosen):.1%}")


if __name__ == "__main__":
    main()
