"""The referral to the utility and the owner's summary, as HTML; nothing here saves."""
