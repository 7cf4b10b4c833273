"""Every entrance by its name."""

from helpers.fuzz import answers, commands, databases, forms, images, texts

ENTRANCES = (
    texts.ENTRANCES | forms.ENTRANCES | answers.ENTRANCES | images.ENTRANCES | commands.ENTRANCES
    | databases.ENTRANCES
)  # fmt: skip
