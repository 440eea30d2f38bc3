"""The demonstration: two tablets, a cabin, a review and the sheets, all real, on one machine."""
