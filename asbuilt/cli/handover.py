"""asbuilt handover: a package of a record that outlives the program."""

from __future__ import annotations

import click

from asbuilt.cli.shared import author, open_record, record_argument

# As asbuilt.handover has them, which is slow to load.
PARTS = ("tables", "viewer", "binder", "drawings", "originals")
LAYERS = ("power", "low voltage", "plumbing", "special", "framing", "other")


@click.command("handover")
@record_argument
@click.argument("target", metavar="DIR|ZIP", type=click.Path())
@click.option("--without", multiple=True, type=click.Choice(PARTS), help="Leave this part away; may be repeated.")
@click.option("--share", is_flag=True, help="A copy for others: no places, devices, people, times of day.")
@click.option("--face", "faces", multiple=True, help="Share only this face; may be repeated.")
@click.option("--layer", "layers", multiple=True, type=click.Choice(LAYERS), help="Share only this layer.")
@click.option("--no-pictures", is_flag=True, help="Share no picture.")
@click.option("--drop", multiple=True, metavar="PICTURE", help="Share without this picture (id or file name).")
@click.option("--blur", multiple=True, metavar="PICTURE", help="Share this picture blurred.")
@click.option("--hide", multiple=True, metavar="WORD", help="Strike this word from every label and note.")
@click.option("--kept-at", default="", help="Where the package will lie, for the panel card.")
@click.option("--ifc", is_flag=True, help="Add a building model (needs the extra: asbuilt[ifc]).")
@click.option("--sign", "key", type=click.Path(dir_okay=False), help="Sign with this private key (asbuilt key).")
def command(record, target, without, share, faces, layers, no_pictures, drop, blur, hide, kept_at, ifc, key) -> None:
    """Make a package of RECORD: a new folder, or a ZIP where the name ends in .zip.

    It holds the record itself with every original, and the same facts in forms that need no
    program of ours: pages for any browser that answer by themselves, a binder to print,
    drawings, tables, JSON. Every file's SHA-512 is listed (BagIt). "asbuilt open" makes a
    record of it again, "asbuilt verify" finds damage.

    That is the owner's full copy; without originals it is a small one that has only the
    reduced pictures of the viewer and the binder. With --share, or any option that leaves
    something out, it is a copy for others: a list of what is left out is in it.

    \b
    Examples:
      asbuilt handover house house-handover
      asbuilt handover house /media/stick/house.zip
      asbuilt handover house small.zip --without originals
      asbuilt handover house plumber.zip --face north --layer plumbing
      asbuilt handover house signed.zip --sign my.key
      asbuilt handover house buyer --share --drop IMG_2041.jpg --hide Miller
    """
    from asbuilt.cli.progress import byte_bar
    from asbuilt.handover.opendata import short_fingerprint
    from asbuilt.handover.package import HandoverOptions, hand_over
    from asbuilt.handover.share import ShareOptions, labels_to_look_at
    from asbuilt.handover.signing import Signer

    options = None
    if share or faces or layers or no_pictures or drop or blur or hide:
        options = ShareOptions(faces=faces, layers=layers, pictures=not no_pictures, drop=drop, blur=blur, hide=hide)
    signer = Signer(key, author()) if key else None
    with open_record(record) as opened, byte_bar("packing") as bar:
        chosen = HandoverOptions(without=frozenset(without), share=options, kept_at=kept_at, sign=signer, ifc=ifc)
        report = hand_over(opened, target, chosen, progress=bar.update)
        doubtful = labels_to_look_at(opened) if options else []
    click.echo(f"{report.path}: {report.file_count} files, {report.byte_count / 1e6:.1f} MB")
    click.echo(f"fingerprint of the record: {short_fingerprint(report.fingerprint)}")
    for line in report.left_out:
        click.echo(f"left out: {line}")
    for text in doubtful:
        click.echo(f"does this name a person? {text!r}; strike words with --hide", err=True)
    for name in report.missing:
        click.echo(f"not in the record's folder, so not in the package: {name}", err=True)
    for fault in report.faults:
        click.echo(fault, err=True)
    if report.missing or report.faults:
        raise SystemExit(1)
