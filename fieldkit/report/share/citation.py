"""Citation files (Citation File Format 1.2.0): how records and the project itself want to be cited."""

import datetime as dt
import json
import re


def citation_file(*, kind, title, authors, licence=None, abstract=None, version=None, released=None, keywords=()):
    """Text of a CITATION.cff.

    Parameters
    ----------
    kind : {"software", "dataset"}
        What is cited.
    title : str
        Its title.
    authors : sequence of str
        "Family, Given" for a person, anything else for a group.
    licence : str, optional
        SPDX identifier.
    abstract, version : str, optional
        What it is, and which version.
    released : datetime.date, optional
        Day of publication.
    keywords : sequence of str
        Words to find it by.

    Returns
    -------
    str

    Notes
    -----
    Druskat, S. et al. (2021), Citation File Format 1.2.0, doi:10.5281/zenodo.5171937. Texts are written
    as JSON strings, which are valid YAML, so that no name or title can break the file.

    Examples
    --------
    >>> print(citation_file(kind="dataset", title="T", authors=["Roe, R."], licence="CC0-1.0"))
    cff-version: 1.2.0
    message: "If you use this, please cite it as below."
    type: dataset
    title: "T"
    authors:
      - family-names: "Roe"
        given-names: "R."
    license: CC0-1.0
    <BLANKLINE>
    """
    lines = [
        "cff-version: 1.2.0",
        'message: "If you use this, please cite it as below."',
        f"type: {kind}",
        f"title: {_text(title)}",
        "authors:",
    ]
    for author in authors:
        family, comma, given = author.partition(",")
        if comma and given.strip():
            lines += [f"  - family-names: {_text(family.strip())}", f"    given-names: {_text(given.strip())}"]
        else:
            lines.append(f"  - name: {_text(author.strip())}")
    if licence:
        lines.append(f"license: {licence}")
    if version:
        lines.append(f"version: {_text(version)}")
    if released:
        lines.append(f"date-released: {_text(released.isoformat())}")
    if abstract:
        lines.append(f"abstract: {_text(abstract)}")
    if keywords:
        lines += ["keywords:", *(f"  - {_text(word)}" for word in keywords)]
    return "\n".join(lines) + "\n"


def spdx(licence):
    """Identifier of terms of use, if these are words that SPDX knows of (a Creative Commons licence); else None.

    Examples
    --------
    >>> spdx("CC BY 4.0"), spdx("cc0-1.0"), spdx("ask me")
    ('CC-BY-4.0', 'CC0-1.0', None)
    """
    name = re.sub(r"[\s_-]+", "-", (licence or "").strip().upper()).replace("CC-0", "CC0")
    return name if re.fullmatch(r"CC0-1\.0|CC-BY(-NC)?(-SA|-ND)?-[1-4]\.\d", name) else None


def of_data(about):
    """Citation file of a shared season."""
    mark = "INVENTED records, not of real animals. " if about.invented else ""
    return citation_file(
        kind="dataset",
        title=about.title,
        authors=about.authors,
        licence=about.licence,
        released=dt.datetime.now(dt.UTC).date(),
        abstract=f"{mark}Records of {about.species} from {about.first_day} to {about.last_day}.",
    )


def of_project():
    """Citation file of fieldkit: the CITATION.cff beside the README."""
    from fieldkit import __version__

    return citation_file(
        kind="software",
        title="fieldkit: from a season of watching wild reptiles bask to numbers a keeper can use",
        authors=["The fieldkit contributors"],
        licence="BSD-3-Clause",
        version=__version__,
        keywords=["behaviour", "basking", "reptiles", "operative temperature", "solar radiation", "citizen science"],
    )


def _text(value):
    return json.dumps(" ".join(str(value).split()), ensure_ascii=False)
