"""The package's build: plain setuptools, plus the firmware core compiled for this machine.

Named as build backend in pyproject.toml, so that a compiler from PyPI is asked for only where the
machine has none.
"""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar

from setuptools import Command, build_meta
from setuptools.command.bdist_wheel import bdist_wheel
from setuptools.command.build import build

from sim import build_core

# The hooks that need nothing of ours (PEP 517, PEP 660).
build_editable = build_meta.build_editable
build_sdist = build_meta.build_sdist
build_wheel = build_meta.build_wheel
get_requires_for_build_sdist = build_meta.get_requires_for_build_sdist
prepare_metadata_for_build_editable = build_meta.prepare_metadata_for_build_editable
prepare_metadata_for_build_wheel = build_meta.prepare_metadata_for_build_wheel

Settings = dict[str, "str | list[str] | None"] | None


def get_requires_for_build_wheel(config_settings: Settings = None) -> list[str]:
    """What the build needs besides setuptools: a compiler from PyPI where the machine has none."""
    wanted = list(build_meta.get_requires_for_build_wheel(config_settings))
    return wanted + compiler_requirements()


def get_requires_for_build_editable(config_settings: Settings = None) -> list[str]:
    """As for a wheel."""
    wanted = list(build_meta.get_requires_for_build_editable(config_settings))
    return wanted + compiler_requirements()


def compiler_requirements() -> list[str]:
    """The requirement for a compiler from PyPI, or nothing where the system has one."""
    return [] if build_core.system_compiler() is not None else ["ziglang>=0.12"]


class BuildCore(Command):
    """Build step: the shared library, into the built package or, when editable, into the tree."""

    description = "compile the firmware core for this machine"
    user_options: ClassVar[list[tuple[str, str, str]]] = []
    editable_mode: bool = False
    build_lib: str | None = None

    def initialize_options(self) -> None:
        """Sets the values that setuptools fills in."""
        self.editable_mode = False
        self.build_lib = None

    def finalize_options(self) -> None:
        """Takes the target folder from the build command."""
        self.set_undefined_options("build", ("build_lib", "build_lib"))

    def run(self) -> None:
        """Builds the library. Raises: SystemExit with one sentence when it cannot."""
        try:
            build_core.build(self._out_dir())
        except build_core.BuildError as error:
            raise SystemExit(f"benchd: {error}") from error

    def get_source_files(self) -> list[str]:
        """The firmware sources, relative to the project, for a source distribution."""
        return [path.relative_to(build_core.ROOT).as_posix() for path in build_core.sources()]

    def get_outputs(self) -> list[str]:
        """The files that the build leaves in the built package."""
        return [str(self._out_dir() / name) for name in (build_core.LIBRARY_NAME, "digest")]

    def get_output_mapping(self) -> dict[str, str]:
        """Nothing: no output of this step is a copy of a file in the tree."""
        return {}

    def _out_dir(self) -> Path:
        if self.editable_mode or self.build_lib is None:
            return build_core.OUT_DIR
        return Path(self.build_lib) / "sim" / "_core"


class Build(build):
    """The usual build, with the firmware core as one more step."""

    sub_commands: ClassVar = [*build.sub_commands, ("build_core", None)]


class BdistWheel(bdist_wheel):
    """A wheel for this platform and any Python 3: the library speaks plain C, not Python."""

    def finalize_options(self) -> None:
        """Marks the package as holding machine code, which is installed in its own place."""
        self.distribution.has_ext_modules = lambda: True  # type: ignore[method-assign]
        super().finalize_options()

    def get_tag(self) -> tuple[str, str, str]:
        """The wheel's tag: any Python 3, no Python ABI, this platform."""
        _, _, platform = super().get_tag()
        return "py3", "none", platform
