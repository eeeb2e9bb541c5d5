"""Plants of moor, tarn and meadow: real names with their authors, families and the months in which they are collected.

Source: from memory, common flora of north-western Europe; authors in the standard short forms.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Species:
    """One species: its name and author, its family, the first and last month for collecting it, bulk and cautions."""

    name: str
    authorship: str
    family: str
    first: int
    last: int
    bulk: str = "ordinary"
    caution: str = ""
    is_sensitive: bool = False

    def in_season(self, month: int) -> bool:
        """Whether it is worth collecting in this month."""
        return self.first <= month <= self.last


def in_season(month: int) -> tuple[Species, ...]:
    """What is collected in this month; in winter that is what stays green, twigs and the first flowers."""
    return tuple(species for species in SPECIES if species.in_season(month))


def _species(line: str) -> Species:
    name, authorship, family, months, *more = (part.strip() for part in line.split("|"))
    first, last = (int(month) for month in months.split("-"))
    words = more[0].split() if more else []
    bulk = next((word for word in words if word in ("thin", "bulky")), "ordinary")
    caution = next((word for word in words if word in ("spines", "irritant")), "")
    return Species(name, authorship, family, first, last, bulk, caution, "sensitive" in words)


_TABLE = """
Geranium sylvaticum | L. | Geraniaceae | 5-7
Alchemilla glabra | Neygenf. | Rosaceae | 5-8 | thin
Filipendula ulmaria | (L.) Maxim. | Rosaceae | 6-9 | bulky
Geum rivale | L. | Rosaceae | 5-7
Potentilla erecta | (L.) Raeusch. | Rosaceae | 5-9 | thin
Comarum palustre | L. | Rosaceae | 5-7
Sanguisorba officinalis | L. | Rosaceae | 6-9
Rubus chamaemorus | L. | Rosaceae | 6-8
Rubus idaeus | L. | Rosaceae | 6-8 | spines
Rosa canina | L. | Rosaceae | 6-7 | spines bulky
Prunus spinosa | L. | Rosaceae | 3-5 | spines bulky
Crataegus monogyna | Jacq. | Rosaceae | 5-10 | spines bulky
Sorbus aucuparia | L. | Rosaceae | 5-9 | bulky
Trollius europaeus | L. | Ranunculaceae | 5-7 | irritant
Caltha palustris | L. | Ranunculaceae | 3-6 | irritant
Ranunculus acris | L. | Ranunculaceae | 5-8 | irritant
Ranunculus flammula | L. | Ranunculaceae | 6-9 | thin irritant
Anemone nemorosa | L. | Ranunculaceae | 3-5 | thin
Helleborus foetidus | L. | Ranunculaceae | 1-4 | bulky irritant
Galanthus nivalis | L. | Amaryllidaceae | 1-3 | thin
Primula veris | L. | Primulaceae | 4-5
Primula vulgaris | Huds. | Primulaceae | 3-5
Cirsium heterophyllum | (L.) Hill | Asteraceae | 6-8 | bulky
Cirsium palustre | (L.) Scop. | Asteraceae | 6-9 | spines bulky
Centaurea nigra | L. | Asteraceae | 6-9
Antennaria dioica | (L.) Gaertn. | Asteraceae | 5-7 | thin
Solidago virgaurea | L. | Asteraceae | 7-10
Tussilago farfara | L. | Asteraceae | 2-4
Calluna vulgaris | (L.) Hull | Ericaceae | 7-10
Erica tetralix | L. | Ericaceae | 6-9
Andromeda polifolia | L. | Ericaceae | 5-9
Vaccinium myrtillus | L. | Ericaceae | 4-9
Vaccinium vitis-idaea | L. | Ericaceae | 1-12
Empetrum nigrum | L. | Ericaceae | 1-12
Drosera rotundifolia | L. | Droseraceae | 6-8 | thin
Pinguicula vulgaris | L. | Lentibulariaceae | 5-7 | thin
Eriophorum angustifolium | Honck. | Cyperaceae | 5-7
Eriophorum vaginatum | L. | Cyperaceae | 4-6
Carex nigra | (L.) Reichard | Cyperaceae | 5-8
Carex echinata | Murray | Cyperaceae | 5-8
Carex rostrata | Stokes | Cyperaceae | 5-8
Carex paniculata | L. | Cyperaceae | 5-7 | bulky
Juncus squarrosus | L. | Juncaceae | 6-9
Juncus effusus | L. | Juncaceae | 6-9
Luzula sylvatica | (Huds.) Gaudin | Juncaceae | 4-6
Nardus stricta | L. | Poaceae | 6-9 | thin
Molinia caerulea | (L.) Moench | Poaceae | 7-10
Deschampsia cespitosa | (L.) P.Beauv. | Poaceae | 6-9
Anthoxanthum odoratum | L. | Poaceae | 4-7 | thin
Briza media | L. | Poaceae | 6-8 | thin
Phragmites australis | (Cav.) Trin. ex Steud. | Poaceae | 8-12 | bulky
Corylus avellana | L. | Betulaceae | 1-4
Alnus glutinosa | (L.) Gaertn. | Betulaceae | 2-4 | bulky
Betula pubescens | Ehrh. | Betulaceae | 4-9
Salix aurita | L. | Salicaceae | 3-6
Salix repens | L. | Salicaceae | 4-6
Ulex europaeus | L. | Fabaceae | 1-12 | spines bulky
Lotus corniculatus | L. | Fabaceae | 5-9
Trifolium pratense | L. | Fabaceae | 5-9
Ilex aquifolium | L. | Aquifoliaceae | 1-12 | spines bulky
Hedera helix | L. | Araliaceae | 1-12 | irritant
Taxus baccata | L. | Taxaceae | 1-12 | bulky
Juniperus communis | L. | Cupressaceae | 1-12 | spines
Pinus sylvestris | L. | Pinaceae | 1-12 | bulky
Polypodium vulgare | L. | Polypodiaceae | 1-12
Asplenium scolopendrium | L. | Aspleniaceae | 1-12
Asplenium trichomanes | L. | Aspleniaceae | 1-12 | thin
Blechnum spicant | (L.) Roth | Blechnaceae | 1-12
Pteridium aquilinum | (L.) Kuhn | Dennstaedtiaceae | 6-10 | bulky
Lycopodium clavatum | L. | Lycopodiaceae | 1-12
Huperzia selago | (L.) Bernh. ex Schrank & Mart. | Lycopodiaceae | 1-12
Equisetum hyemale | L. | Equisetaceae | 1-12
Polytrichum commune | Hedw. | Polytrichaceae | 1-12 | thin
Sphagnum capillifolium | (Ehrh.) Hedw. | Sphagnaceae | 1-12 | thin
Parnassia palustris | L. | Celastraceae | 7-10 | thin
Saxifraga aizoides | L. | Saxifragaceae | 6-9
Viola lutea | Huds. | Violaceae | 5-8 | thin
Viola palustris | L. | Violaceae | 4-7 | thin
Galium saxatile | L. | Rubiaceae | 6-8
Campanula rotundifolia | L. | Campanulaceae | 7-9
Succisa pratensis | Moench | Caprifoliaceae | 7-10
Rhinanthus minor | L. | Orobanchaceae | 5-8
Pedicularis sylvatica | L. | Orobanchaceae | 4-7
Thymus serpyllum | L. | Lamiaceae | 5-9
Digitalis purpurea | L. | Plantaginaceae | 6-8 | bulky irritant
Euphorbia amygdaloides | L. | Euphorbiaceae | 3-5 | irritant
Heracleum sphondylium | L. | Apiaceae | 6-9 | bulky irritant
Angelica sylvestris | L. | Apiaceae | 7-9 | bulky
Meum athamanticum | Jacq. | Apiaceae | 6-7
Urtica dioica | L. | Urticaceae | 5-9 | irritant
Narthecium ossifragum | (L.) Huds. | Nartheciaceae | 7-9
Menyanthes trifoliata | L. | Menyanthaceae | 5-7
Silene dioica | (L.) Clairv. | Caryophyllaceae | 5-10
Rumex acetosa | L. | Polygonaceae | 5-7
Dactylorhiza maculata | (L.) Soó | Orchidaceae | 6-8
Dactylorhiza purpurella | (T.Stephenson & T.A.Stephenson) Soó | Orchidaceae | 6-7
Neottia cordata | (L.) Rich. | Orchidaceae | 6-7 | thin sensitive
Neotinea ustulata | (L.) R.M.Bateman, Pridgeon & M.W.Chase | Orchidaceae | 5-7 | sensitive
"""
SPECIES: tuple[Species, ...] = tuple(_species(line) for line in _TABLE.strip().splitlines())
