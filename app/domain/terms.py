"""The names that Darwin Core gives to what is known of a specimen: what the columns of a list may be called.

Source: Biodiversity Information Standards (TDWG), Darwin Core, the list of all terms in dist/all_dwc_vertical.csv of
its repository (version of 2025-07-10 and later), CC BY 4.0.
"""

from __future__ import annotations

import re
from difflib import get_close_matches

# At 0.85 one or two slips of the hand in a name are seen, and two different terms are never taken for one another.
_ALIKE = 0.85
_LEADS = re.compile(
    r"\s*(?:dwc:|dcterms:|https?://rs\.tdwg\.org/dwc/terms/|http://purl\.org/dc/terms/)?", re.IGNORECASE
)
_LONGEST_TERM = 60
# The term under which a list gives the number of a sheet.
NUMBER_TERM = "catalogNumber"


def term_for(heading: str) -> str | None:
    """The Darwin Core term that a column's heading names, whatever its case and with or without `dwc:`; else None."""
    return _BY_KEY.get(_bare(heading).casefold())


def nearest(heading: str) -> str | None:
    """The term that a heading was probably meant to be: another spelling of it or a slip of the hand; else None."""
    bare = _bare(heading).casefold()
    if len(bare) > _LONGEST_TERM:
        return None
    plain = "".join(each for each in bare if each.isalnum())
    close = get_close_matches(plain, _BY_KEY, n=1, cutoff=_ALIKE)
    return _BY_KEY[close[0]] if close else None


def _bare(heading: str) -> str:
    return _LEADS.sub("", heading, count=1).strip()


_NAMES = """
    type modified language license rightsHolder accessRights bibliographicCitation references feedbackURL
    institutionID collectionID datasetID institutionCode collectionCode datasetName ownerInstitutionCode
    basisOfRecord informationWithheld dataGeneralizations dynamicProperties occurrenceID catalogNumber recordNumber
    recordedBy recordedByID individualCount organismQuantity organismQuantityType sex lifeStage
    reproductiveCondition caste behavior vitality establishmentMeans degreeOfEstablishment pathway
    georeferenceVerificationStatus occurrenceStatus associatedMedia associatedOccurrences associatedReferences
    associatedTaxa otherCatalogNumbers occurrenceRemarks organismID organismName organismScope causeOfDeath
    associatedOrganisms previousIdentifications organismRemarks materialEntityID digitalSpecimenID
    materialEntityType preparations disposition verbatimLabel associatedSequences materialEntityRemarks
    materialSampleID eventID parentEventID eventType fieldNumber projectTitle projectID fundingAttributionID
    eventDate eventTime startDayOfYear endDayOfYear year month day verbatimEventDate habitat samplingProtocol
    sampleSizeValue sampleSizeUnit samplingEffort fieldNotes eventRemarks locationID higherGeographyID
    higherGeography continent waterBody islandGroup island country countryCode stateProvince county municipality
    locality verbatimLocality minimumElevationInMeters maximumElevationInMeters verbatimElevation verticalDatum
    minimumDepthInMeters maximumDepthInMeters verbatimDepth minimumDistanceAboveSurfaceInMeters
    maximumDistanceAboveSurfaceInMeters locationAccordingTo locationRemarks decimalLatitude decimalLongitude
    geodeticDatum coordinateUncertaintyInMeters coordinatePrecision pointRadiusSpatialFit verbatimCoordinates
    verbatimLatitude verbatimLongitude verbatimCoordinateSystem verbatimSRS footprintWKT footprintSRS
    footprintSpatialFit georeferencedBy georeferencedDate georeferenceProtocol georeferenceSources
    georeferenceRemarks geologicalContextID earliestEonOrLowestEonothem latestEonOrHighestEonothem
    earliestEraOrLowestErathem latestEraOrHighestErathem earliestPeriodOrLowestSystem latestPeriodOrHighestSystem
    earliestEpochOrLowestSeries latestEpochOrHighestSeries earliestAgeOrLowestStage latestAgeOrHighestStage
    lowestBiostratigraphicZone highestBiostratigraphicZone lithostratigraphicTerms group formation member bed
    identificationID verbatimIdentification identificationQualifier typeStatus typifiedName identifiedBy
    identifiedByID dateIdentified identificationReferences identificationVerificationStatus identificationRemarks
    taxonID scientificNameID acceptedNameUsageID parentNameUsageID originalNameUsageID nameAccordingToID
    namePublishedInID taxonConceptID scientificName acceptedNameUsage parentNameUsage originalNameUsage
    nameAccordingTo namePublishedIn namePublishedInYear higherClassification kingdom phylum class order superfamily
    family subfamily tribe subtribe genus genericName subgenus infragenericEpithet specificEpithet
    infraspecificEpithet cultivarEpithet taxonRank verbatimTaxonRank scientificNameAuthorship vernacularName
    nomenclaturalCode taxonomicStatus nomenclaturalStatus taxonRemarks measurementID parentMeasurementID
    measurementType verbatimMeasurementType measurementValue measurementAccuracy measurementUnit
    measurementDeterminedBy measurementDeterminedDate measurementMethod measurementRemarks resourceRelationshipID
    resourceID relationshipOfResourceID relatedResourceID relationshipOfResource relationshipAccordingTo
    relationshipEstablishedDate relationshipRemarks discipline
"""
TERMS: tuple[str, ...] = tuple(_NAMES.split())
_BY_KEY: dict[str, str] = {term.casefold(): term for term in TERMS}
