"""The dashboard: ``streamlit run dashboard/app.py``, or ``riskrules dashboard``."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
if "dashboard" not in sys.modules:
    # In the wheel the folder has another name, and another `dashboard` may lie on the path.
    if (HERE.parent / "riskrules").is_dir() and str(HERE.parent) not in sys.path:
        sys.path.insert(0, str(HERE.parent))
    _spec = importlib.util.spec_from_file_location(
        "dashboard", HERE / "__init__.py", submodule_search_locations=[str(HERE)]
    )
    if _spec is None or _spec.loader is None:
        raise ImportError(f"{HERE}: no dashboard; expected it whole")
    _module = importlib.util.module_from_spec(_spec)
    sys.modules["dashboard"] = _module
    _spec.loader.exec_module(_module)

from dashboard.shell import run  # noqa: E402

run()
