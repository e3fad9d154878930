"""Run notebooks, each in a kernel of its own, two at a time; keep what they came to and why a cell was not done."""

import ast
import contextlib
import json
import os
import signal
import threading
from concurrent.futures import ThreadPoolExecutor, as_completed
from subprocess import DEVNULL

from fieldkit.core import FieldkitError
from fieldkit.report.writeup import warm as warmed
from fieldkit.report.writeup.running import WriteUpError, tags

# Two kernels that start at once fail about once in 300 starts; a second try has always been enough.
_STARTS = 3
# Notebooks that run at the same time; each takes some 400 MB.
_AT_ONCE = min(2, os.cpu_count() or 1)
# Listens in the kernel while the notebook runs.
_COLLECTED, _RECORDER = "fieldkit.report.writeup.collected", "_fieldkit_recorder"


def _client(notebook, scratch, warm=None):
    """A client that starts this very interpreter, whatever else bears the name python3 on this computer."""
    from jupyter_client import AsyncKernelManager
    from jupyter_client.kernelspec import NATIVE_KERNEL_NAME, KernelSpecManager
    from nbclient import NotebookClient

    manager = AsyncKernelManager(
        kernel_name=NATIVE_KERNEL_NAME,
        kernel_spec_manager=KernelSpecManager(kernel_dirs=[]),
        connection_file=str(scratch / "kernel.json"),
    )
    if warm is not None:
        warmed.provisioned(manager, warm)
    # On a busy machine what a cell prints can come late: it is waited for, and never lost in silence.
    waits = {"timeout": None, "startup_timeout": 60, "iopub_timeout": 60, "raise_on_iopub_timeout": True}
    return NotebookClient(notebook, km=manager, **waits)


@contextlib.contextmanager
def _kernel(notebook, scratch, environment, warm):
    for attempt in range(1, _STARTS + 1):
        client = _client(notebook, scratch, warm if attempt == 1 else None)
        stack = contextlib.ExitStack()
        how = {"cwd": str(scratch), "env": environment, "stdout": DEVNULL, "stderr": DEVNULL, "cleanup_kc": True}
        try:
            stack.enter_context(client.setup_kernel(**how))
            break
        except RuntimeError as error:
            stack.close()
            if attempt == _STARTS:
                raise FieldkitError(
                    f"Python could not start a notebook ({_STARTS} tries): {error}. Close other programs and try again."
                ) from error
    with stack:
        yield client


def run_all(runs, work, *, seasons=(), progress=None):
    """Run notebooks two at a time: each waits for its own kernel only. The first that fails stops the others.

    Parameters
    ----------
    runs : list of Run
        Changed in place.
    work : pathlib.Path
        Folder for what is needed meanwhile; each notebook gets one in it.
    seasons : sequence of str or pathlib.Path
        Season folders that the notebooks read: they are read once for all of them.
    progress : bool, optional
        Show a progress bar; None shows one in a terminal.
    """
    environment = os.environ | {
        "PYTHONWARNINGS": "default",
        # Two kernels at a time leave no core for more threads of each.
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
        # As ipykernel sets it, too late for a fork.
        "MPLBACKEND": "module://matplotlib_inline.backend_inline",
        warmed.SEASONS: os.pathsep.join(map(str, seasons)),
    }
    warm = warmed.started(environment) if len(runs) > 1 else None
    try:
        _run_all(runs, work, environment, warm, progress)
    finally:
        if warm is not None:
            warm.close()


def _run_all(runs, work, environment, warm, progress):
    from tqdm.auto import tqdm

    hidden = None if progress is None else not progress
    lock, total = threading.Lock(), sum(len(one.cells) for one in runs)
    with tqdm(total=total, disable=hidden, unit="cell", desc="Writing up") as bar, ThreadPoolExecutor(_AT_ONCE) as pool:

        def step():
            with lock:
                bar.update()

        going = [pool.submit(_in_thread, one, work / one.name, step, environment, warm) for one in runs]
        try:
            for done in as_completed(going):
                done.result()
        except BaseException:
            for one, future in zip(runs, going):
                if not future.cancel() and one.kernel_pid is not None and not future.done():
                    with contextlib.suppress(OSError):
                        os.kill(one.kernel_pid, signal.SIGTERM if os.name == "nt" else signal.SIGKILL)
            raise


def _in_thread(one, work, step, environment, warm):
    """Run a notebook in a thread with an event loop of its own, which ends with it."""
    from jupyter_core.utils import ensure_event_loop

    try:
        run(one, work=work, step=step, environment=environment, warm=warm)
    finally:
        ensure_event_loop().close()


def run(one, *, work, step, environment=None, warm=None):
    """Run one notebook in place; what it shows, finds and calls is kept in `one`.

    A cell that raises a FieldkitError, and every later cell that needs what it would have made, is left out with that
    sentence as the reason; the other cells are run. Any other error fails the run.

    Parameters
    ----------
    one : Run
        Changed in place.
    work : pathlib.Path
        New folder for all that is needed meanwhile: ``figures``, the tables of ``results``, the kernel's own files.
    step : callable
        Called after each cell.
    environment : dict, optional
        Variables of the kernel; those of this process by default.
    warm : warm.Warm, optional
        Where the kernel is forked from; None starts one.
    """
    from fieldkit.report.figures.style import KEEP

    figures, results, scratch = (work / name for name in ("figures", "results", "kernel"))
    for folder in (figures, results, scratch):
        folder.mkdir(parents=True)
    one.results_folder = results
    one.notebook.cells = one.cells
    # A folder of its own for IPython: neither the reader's start-up files nor the history have a part in this.
    environment = (environment or os.environ) | {KEEP: str(figures), "IPYTHONDIR": str(scratch)}
    with _kernel(one.notebook, scratch, environment, warm) as client:
        one.kernel_pid = getattr(client.km.provisioner, "pid", None)
        count, ran = 0, []
        lost = {}
        _probe(client, f"globals().update({_RECORDER}=__import__({_COLLECTED!r}, fromlist=['start']).start())")
        for index, cell in enumerate(one.notebook.cells):
            if cell.cell_type == "code":
                cell.outputs, cell.execution_count = [], None
            if cell.cell_type == "code" and cell.source.strip():
                made, needed = names_of(cell.source)
                reason = next((lost[name] for name in sorted(needed & lost.keys())), None)
                if reason is None:
                    count += 1
                    reason = _execute(client, one, index, count)
                if reason is None:
                    ran.append((count, cell.source, "writeup" in tags(cell)))
                    lost = {name: why for name, why in lost.items() if name not in made}
                else:
                    cell.outputs = []
                    lost |= dict.fromkeys(made, reason)
                    one.missing[index] = reason
            step()
        collector = f"__import__({_COLLECTED!r}, fromlist=['collect']).collect"
        with _stops_said(one, client, "what it came to"):
            _probe(client, f"{collector}({_RECORDER}, globals(), {ran!r}, {str(results)!r})")
    one.collected = json.loads((results / "collected.json").read_text("utf-8"))
    (results / "collected.json").unlink()
    one.state, one.reason = ("stopped", " ".join(one.told)) if one.told else ("done", "")


def _execute(client, one, index, count):
    """Run one cell; why it could not be done with these records, or None."""
    try:
        with _stops_said(one, client, f"cell {index + 1}"):
            client.execute_cell(one.notebook.cells[index], index, execution_count=count)
    except _CannotBeDone as error:
        return str(error)
    return None


class _CannotBeDone(Exception):
    """A cell raised a FieldkitError: these records cannot carry it."""


@contextlib.contextmanager
def _stops_said(one, client, where):
    """What stops a cell, as a sentence: a dead kernel, a full disk, records that are wanting, a fault of the kit."""
    from nbclient.exceptions import CellExecutionError, DeadKernelError

    try:
        yield
    except DeadKernelError as error:
        raise FieldkitError(
            f"Notebook {one.name}, {where}: Python stopped, most often for want of memory. Close other programs and "
            "start again, or write up fewer notebooks at a time (--only). Nothing was written."
        ) from error
    except CellExecutionError as error:
        last = "__import__('sys').last_value"
        if _probe(client, f"isinstance({last}, __import__('fieldkit').FieldkitError)") == "True":
            raise _CannotBeDone(error.evalue) from error
        said = _probe(client, f"__import__('fieldkit.core', fromlist=['trouble']).trouble({last})")
        if said != "None":
            raise FieldkitError(f"Notebook {one.name}, {where}: {said} Nothing was written.") from error
        raise WriteUpError(
            f"Notebook {one.name}, {where} failed: {error.ename}: {error.evalue}. "
            "This is a fault of the notebook or of fieldkit, not of your records."
        ) from error


def names_of(source):
    """Names that a cell makes, and names of others that it needs.

    Examples
    --------
    >>> made, needed = names_of("b = a + 1; c = [x for x in b]")
    >>> sorted(made), sorted(needed)
    (['b', 'c', 'x'], ['a'])
    """
    try:
        tree = ast.parse(source)
    except SyntaxError:
        return set(), set()
    names = [node for node in ast.walk(tree) if isinstance(node, ast.Name)]
    made = {n.id for n in names if isinstance(n.ctx, ast.Store)}
    made |= {
        a.asname or a.name.split(".")[0]
        for n in ast.walk(tree)
        if isinstance(n, ast.Import | ast.ImportFrom)
        for a in n.names
    }
    own, needed = set(), set()
    for statement in tree.body:
        inside = [n for n in ast.walk(statement) if isinstance(n, ast.Name)]
        stored = {n.id for n in inside if isinstance(n.ctx, ast.Store)}
        # x = x + 1 needs an x; the name of a loop does not come from before.
        loops = [n.target for n in ast.walk(statement) if isinstance(n, ast.comprehension)]
        looped = {n.id for target in loops for n in ast.walk(target) if isinstance(n, ast.Name)}
        bound = looped if isinstance(statement, ast.Assign | ast.AugAssign) else stored
        needed |= {n.id for n in inside if isinstance(n.ctx, ast.Load)} - own - bound
        own |= stored
    return made, needed


def _probe(client, expression):
    """What an expression is in the kernel, as text; the notebook and its history stay untouched."""
    import nbformat

    cell = nbformat.v4.new_code_cell(f"print({expression})")
    client.nb.cells.append(cell)
    try:
        client.execute_cell(cell, len(client.nb.cells) - 1, store_history=False)
    finally:
        client.nb.cells.pop()
    return "".join(output.get("text", "") for output in cell.outputs if output.get("name") == "stdout").strip()
