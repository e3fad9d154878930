"""One warm Python from which the kernels of a write-up are forked: what all notebooks import is imported once.

A kernel of its own costs three seconds before the first cell: starting, and importing pandas, scipy and matplotlib. A
fork of a process that has done so costs none. Every notebook still runs in a process of its own, which starts with the
same modules and no variable. Where there is no fork (Windows), or the warm process does not answer, kernels are started
one by one as before.

The two speak lines of JSON: a request ``{"file": connection file, "cwd": folder, "env": variables}`` is answered by
``{"pid": number}``; ``{"ended": pid, "code": exit status}`` comes when a kernel has gone. When nobody listens any more
the warm process kills its kernels and ends.
"""

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading

# Season folders that are read before the fork, and then not again after it.
SEASONS = "FIELDKIT_WARM_SEASONS"
MODULE = "fieldkit.report.writeup.warm"
_NAME = "fieldkit-forked"
_IMPORTED = (
    "IPython.core.completer",
    "IPython.core.interactiveshell",
    "IPython.core.magics",
    "ipykernel.ipkernel",
    "ipykernel.zmqshell",
    "matplotlib.backends.backend_agg",
    "matplotlib.backends.backend_svg",
    "matplotlib.figure",
    "pandas",
    "PIL.Image",
    "PIL.PngImagePlugin",
    "pvlib",
    "scipy.interpolate",
    "scipy.optimize",
    "scipy.special",
    "scipy.stats",
    "seaborn",
    "statsmodels.api",
    "fieldkit.captive.audit.run",
    "fieldkit.captive.compare.run",
    "fieldkit.captive.lamps.fit",
    "fieldkit.captive.targets.builders",
    "fieldkit.captive.trial.planner",
    "fieldkit.field.basking.logistic",
    "fieldkit.field.choice.verdict",
    "fieldkit.field.climate.bands",
    "fieldkit.field.planning.planner",
    "fieldkit.field.plausibility",
    "fieldkit.field.sightings",
    "fieldkit.field.sunlight",
    "fieldkit.field.thermoregulation",
    "fieldkit.report.figures.style",
    "fieldkit.report.writeup.collected",
)


class Warm:
    """The warm process, seen from the write-up.

    Parameters
    ----------
    environment : dict
        Variables of all kernels.
    """

    def __init__(self, environment):
        self._lock, self._ended, self._answers, self._started = threading.Condition(), {}, [], set()
        self._process = subprocess.Popen(
            [sys.executable, "-m", MODULE],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment,
            text=True,
        )
        self._asking = threading.Lock()
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def _listen(self):
        for line in self._process.stdout:
            told = json.loads(line)
            with self._lock:
                if "pid" in told:
                    self._answers.append(told["pid"])
                    self._started.add(told["pid"])
                else:
                    self._ended[told["ended"]] = told["code"]
                self._lock.notify_all()
        with self._lock:
            for pid in self._started - self._ended.keys():
                with contextlib.suppress(OSError):
                    os.kill(pid, signal.SIGKILL)
                self._ended[pid] = -signal.SIGKILL
            self._answers.append(None)
            self._lock.notify_all()

    def fork(self, **request):
        """Start a kernel; what takes the place of a `subprocess.Popen`, or None if it could not be done."""
        with self._asking:
            try:
                self._process.stdin.write(json.dumps(request) + "\n")
                self._process.stdin.flush()
            except OSError:
                return None
            with self._lock:
                self._lock.wait_for(lambda: self._answers)
                pid = self._answers.pop(0)
                if pid is None:
                    self._answers.append(None)
                    return None
        return _Forked(self, pid)

    def code(self, pid, *, wait=False, timeout=None):
        """Exit status of a kernel; None while it runs."""
        with self._lock:
            if wait:
                self._lock.wait_for(lambda: pid in self._ended, timeout)
            return self._ended.get(pid)

    def close(self):
        """End it, and with it every kernel that still runs."""
        with contextlib.suppress(OSError):
            self._process.stdin.close()
        self._process.wait()
        self._listener.join()
        self._process.stdout.close()


class _Forked:
    """A forked kernel, with what jupyter_client asks of a `subprocess.Popen`."""

    stdin = stdout = stderr = None

    def __init__(self, warm, pid):
        self._warm, self.pid = warm, pid

    @property
    def returncode(self):
        return self.poll()

    def poll(self):
        return self._warm.code(self.pid)

    def wait(self, timeout=None):
        return self._warm.code(self.pid, wait=True, timeout=timeout)

    def send_signal(self, number):
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self):
        self.send_signal(signal.SIGKILL)

    def terminate(self):
        self.send_signal(signal.SIGTERM)


def started(environment):
    """A warm process, or None where there is no fork."""
    if not hasattr(os, "fork") or sys.platform == "darwin":  # system libraries of macOS do not outlive a fork
        return None
    return Warm(environment)


def provisioned(manager, warm):
    """Have a kernel manager take its kernel from the warm process.

    Parameters
    ----------
    manager : jupyter_client.KernelManager
        Changed in place.
    warm : Warm
        From `started`.
    """
    from importlib.metadata import EntryPoint

    from jupyter_client.provisioning import KernelProvisionerFactory

    group = KernelProvisionerFactory.GROUP_NAME
    KernelProvisionerFactory.instance(parent=None).provisioners[_NAME] = EntryPoint(
        _NAME, f"{MODULE}:provisioner", group
    )
    manager.kernel_spec.metadata["kernel_provisioner"] = {"provisioner_name": _NAME, "config": {}}
    manager.fieldkit_warm = warm


def provisioner(**given):
    """A provisioner of jupyter_client that forks; the class waits for the import of its base."""
    from jupyter_client.provisioning import LocalProvisioner

    class Provisioner(LocalProvisioner):
        async def launch_kernel(self, cmd, **kwargs):
            own = {name: value for name, value in kwargs["env"].items() if os.environ.get(name) != value}
            forked = self.parent.fieldkit_warm.fork(file=self.parent.connection_file, cwd=str(kwargs["cwd"]), env=own)
            if forked is None:
                return await super().launch_kernel(cmd, **kwargs)
            self.process, self.pid, self.pgid, self.cwd = forked, forked.pid, None, kwargs["cwd"]
            return self.connection_info

    return Provisioner(**given)


def _become(request):
    """In the fork: be the kernel of this connection file."""
    from ipykernel.kernelapp import IPKernelApp

    os.setsid()
    os.environ.update(request["env"])
    os.chdir(request["cwd"])
    silent = os.open(os.devnull, os.O_RDWR)
    for number in (0, 1, 2):
        os.dup2(silent, number)
    sys.stdin, sys.stdout, sys.stderr = open(0), open(1, "w"), open(2, "w")  # noqa: SIM115
    sys.argv = ["ipykernel_launcher", "-f", request["file"]]
    IPKernelApp.launch_instance(argv=sys.argv[1:])


def main():
    """Import what notebooks import, then fork a kernel for each line that asks for one."""
    import importlib
    import selectors

    # The channel is nobody else's: what an import prints does not get into it.
    channel = os.fdopen(os.dup(1), "w", buffering=1)
    os.dup2(2, 1)
    for name in _IMPORTED:
        importlib.import_module(name)
    for folder in filter(None, os.environ.get(SEASONS, "").split(os.pathsep)):
        from fieldkit.core import FieldkitError
        from fieldkit.field.plausibility import reader

        with contextlib.suppress(FieldkitError, OSError):  # a notebook that reads it says what is wrong
            reader.hold(folder)
    reading, writing = os.pipe()
    os.set_blocking(writing, False)
    signal.set_wakeup_fd(writing)
    signal.signal(signal.SIGCHLD, lambda *_: None)
    kernels, rest = set(), b""
    with selectors.DefaultSelector() as waiting:
        waiting.register(0, selectors.EVENT_READ)
        waiting.register(reading, selectors.EVENT_READ)
        while True:
            ready = {key.fd for key, _ in waiting.select()}
            if reading in ready:
                os.read(reading, 4096)
                for pid in list(kernels):
                    gone, status = os.waitpid(pid, os.WNOHANG)
                    if gone:
                        kernels.discard(pid)
                        print(json.dumps({"ended": pid, "code": os.waitstatus_to_exitcode(status)}), file=channel)
            if 0 in ready:
                got = os.read(0, 65536)
                if not got:
                    break
                *lines, rest = (rest + got).split(b"\n")
                for line in lines:
                    pid = os.fork()
                    if not pid:
                        signal.set_wakeup_fd(-1)
                        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
                        waiting.close()
                        channel.close()
                        os.close(reading)
                        os.close(writing)
                        _become(json.loads(line))
                        os._exit(0)
                    kernels.add(pid)
                    print(json.dumps({"pid": pid}), file=channel)
    for pid in kernels:
        with contextlib.suppress(OSError):
            os.kill(pid, signal.SIGKILL)


if __name__ == "__main__":
    main()
