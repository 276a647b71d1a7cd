//! The sound of an instructor's own film: cracks of bat on ball, matched in time with swings that were measured.
