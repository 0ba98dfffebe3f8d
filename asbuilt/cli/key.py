"""asbuilt key: a key to sign packages with."""

from __future__ import annotations

import click


@click.command("key")
@click.argument("path", metavar="NEWKEY", type=click.Path(dir_okay=False))
def command(path: str) -> None:
    """Make a key to sign packages with: NEWKEY, to be kept to yourself, and NEWKEY.pub, to be given away.

    Whoever has NEWKEY.pub can tell with "asbuilt verify --key" that a package is yours and
    that nothing in it was changed. With a pass phrase in ASBUILT_KEY_PASSPHRASE the private
    key is locked. Nobody can restore a lost key.

    \b
    Examples:
      asbuilt key my.key
      asbuilt handover house signed.zip --sign my.key
    """
    from asbuilt.handover.signing import new_key, short_key

    public = new_key(path)
    click.echo(f"{path}: keep it to yourself, and keep a copy")
    click.echo(f"{path}.pub: give it to whoever gets your packages; it begins {short_key(public)}")
