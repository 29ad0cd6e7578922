// Sizes of solids that no file states, the same for planning and for the rehearsal.
#pragma once

namespace pivotrace {

/// Depth of the solid a flat is the face of, and wall of a bore [mm]: nobody states them; enough to
/// keep the stylus from passing behind the surface. Common practice, no source.
inline constexpr double assumed_wall_mm = 10.0;

}  // namespace pivotrace
