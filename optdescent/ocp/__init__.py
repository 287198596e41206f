"""General multi-phase optimal control by direct collocation: statement, solution, certificate."""

from optdescent.ocp.basis import Family
from optdescent.ocp.certificate import Arc, Certificate, Switching
from optdescent.ocp.chatter import Chatter, find_chatter
from optdescent.ocp.coarser import first_solved
from optdescent.ocp.error import PhaseError, largest_error, local_errors
from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.follow import Attempt, Persistence, Step, persist
from optdescent.ocp.guess import Guess, PhaseGuess
from optdescent.ocp.mesh import Mesh, PhaseMesh
from optdescent.ocp.nlp import NonlinearProgram
from optdescent.ocp.outcome import Outcome
from optdescent.ocp.point import Edge, Ends, Parameters, PhaseEnds, Point
from optdescent.ocp.problem import (
    BoundaryConstraint,
    Expression,
    Limit,
    Link,
    Memory,
    Parameter,
    PathConstraint,
    Phase,
    Problem,
    Span,
    Variable,
)
from optdescent.ocp.refine import RefineSettings
from optdescent.ocp.reflight import Reflight, refly
from optdescent.ocp.relax import Demand, Kind, Relaxation, relax
from optdescent.ocp.sensitivity import TrajectorySensitivity, cost_sensitivity, predict, trajectory_sensitivity
from optdescent.ocp.settings import SolverSettings, Warmth
from optdescent.ocp.solution import Multipliers, PhaseSolution, Round, Solution, Start
from optdescent.ocp.solve import Settings, refined, solve
from optdescent.ocp.template import Template
from optdescent.ocp.transcribe import transcribe

__all__ = [
    "Arc",
    "Attempt",
    "BoundaryConstraint",
    "Certificate",
    "Chatter",
    "Demand",
    "Edge",
    "Ends",
    "Expression",
    "Family",
    "Guess",
    "Kind",
    "Limit",
    "Link",
    "Memory",
    "Mesh",
    "Multipliers",
    "NonlinearProgram",
    "Outcome",
    "Parameter",
    "Parameters",
    "PathConstraint",
    "Persistence",
    "Phase",
    "PhaseEnds",
    "PhaseError",
    "PhaseGuess",
    "PhaseMesh",
    "PhaseSolution",
    "Point",
    "Problem",
    "ProblemFault",
    "RefineSettings",
    "Reflight",
    "Relaxation",
    "Round",
    "Settings",
    "Solution",
    "SolverSettings",
    "Span",
    "Start",
    "Step",
    "Switching",
    "Template",
    "TrajectorySensitivity",
    "Variable",
    "Warmth",
    "cost_sensitivity",
    "find_chatter",
    "first_solved",
    "largest_error",
    "local_errors",
    "persist",
    "predict",
    "refined",
    "refly",
    "relax",
    "solve",
    "trajectory_sensitivity",
    "transcribe",
]
