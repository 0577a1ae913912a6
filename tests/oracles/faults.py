"""Every fault there is: importing the modules that hold them fills the table."""

from tests.oracles import faults_fhir, faults_own
from tests.oracles.planting import FAULTS, Fault, NoPlaceError

__all__ = ["FAULTS", "Fault", "NoPlaceError", "faults_fhir", "faults_own"]
