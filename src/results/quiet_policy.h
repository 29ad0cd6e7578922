// How Boost's distributions answer here.
#pragma once

#include <boost/math/policies/policy.hpp>

namespace pivotrace {

/// Failures come back as NaN or infinity rather than as exceptions. In double throughout: the detour over
/// long double doubles the time of a fit for digits nobody sees.
using Quiet = boost::math::policies::policy<
    boost::math::policies::domain_error<boost::math::policies::ignore_error>,
    boost::math::policies::pole_error<boost::math::policies::ignore_error>,
    boost::math::policies::overflow_error<boost::math::policies::ignore_error>,
    boost::math::policies::evaluation_error<boost::math::policies::ignore_error>,
    boost::math::policies::rounding_error<boost::math::policies::ignore_error>,
    boost::math::policies::promote_double<false>>;

}  // namespace pivotrace
