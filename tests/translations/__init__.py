"""The translations: made from the English texts and what translators wrote, and held to both."""
