"""Hook: lets hatchling compile the kernel while a wheel or an editable install is made.

Stage: engine, the compiled kernel. In: what hatchling hands over. Out: the library, in the wheel or in the folder of an
editable install. Where it cannot be compiled the build goes on without it, and says so.
"""

from __future__ import annotations

import runpy
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

HERE = "psgmodel/engine/kernel"


class KernelHook(BuildHookInterface):
    """Called by hatchling around each build."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile before the files are gathered; `version` is "editable" where the folder itself is installed."""
        build = runpy.run_path(str(Path(self.root) / HERE / "build.py"))
        editable = version == "editable"
        self.work = tempfile.TemporaryDirectory(prefix="kernel-")
        try:
            library = build["build"](Path(self.root) / HERE if editable else Path(self.work.name))
        except (build["NotBuiltError"], OSError) as reason:
            self.app.display_warning(f"The compiled engine is left out, its twin in Python serves: {reason}")
            return
        if not editable:
            build_data["pure_python"] = False
            build_data["infer_tag"] = True
            build_data["force_include"][str(library)] = f"{HERE}/{library.name}"

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Clean up after the wheel is written."""
        self.work.cleanup()
