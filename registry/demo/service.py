"""Build Saltmarsh Point through the same services that a user's files go through, and write it out as such files."""

import io
import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from registry.checks.check_list import import_checks
from registry.db import Connection, Database
from registry.demo.joints import Plant, plant
from registry.demo.layout import plot_plan
from registry.demo.lists import (
    check_list,
    joint_list,
    leak_list,
    line_codes,
    make_up_list,
    temperature_list,
    vibration_list,
)
from registry.demo.process import Life, simulated_life
from registry.demo.truth import truth_document
from registry.errors import Conflict
from registry.exposure.reading_list import import_temperatures, import_vibration
from registry.intake.model import FileMapping, IntakeReport, Table
from registry.intake.tables import read_table
from registry.intervals.service import score_plant, summary
from registry.joints.service import import_list
from registry.leaks.leak_list import import_leaks
from registry.makeup.make_up_list import import_make_ups
from registry.planning.service import make_plan
from registry.plant.service import import_plan
from registry.policy.document import default_document, policy_from
from registry.policy.service import publish_first
from registry.routes.service import make_route
from registry.sites import store as sites

CODE = "saltmarsh-point"
NAME = "Saltmarsh Point (invented)"
