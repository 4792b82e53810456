"""The version that manifest and package have too; a contract test holds the three together."""

ARMWRIGHT = "0.1.0"
