// How fast a feed move goes.
#pragma once

namespace pivotrace {

struct FeedRate {
  bool inverse_time = false;  ///< value is moves per minute, else mm/min (deg/min: rotary only)
  double value = 0.0;
};

}  // namespace pivotrace
