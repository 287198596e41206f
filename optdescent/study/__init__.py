"""Study: what a study file asks for, checked before anything runs, and made into a sweep."""

from optdescent.study.declaration import KEPT, ComputeDeclaration, KeepDeclaration, StudyDeclaration
from optdescent.study.study import Study

__all__ = ["KEPT", "ComputeDeclaration", "KeepDeclaration", "Study", "StudyDeclaration"]
