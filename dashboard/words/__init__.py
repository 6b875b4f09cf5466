"""Every sentence, number and date format, caution and glossary that a person reads."""
