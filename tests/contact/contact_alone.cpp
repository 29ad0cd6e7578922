// The formulas compiled as a small computer without a C++ library would: stands_alone.cmake reads
// what this object asks for.
#include "pivotrace/contact/derivatives.h"

namespace pivotrace::contact {

double gap_in_double(const Chain<double>& chain, int last, const Reading<double>& reading,
                     ArtefactKind kind, const Place<double>& place, double stylus_radius_mm);
float gap_in_float(const Chain<float>& chain, int last, const Reading<float>& reading,
                   ArtefactKind kind, const Place<float>& place, float stylus_radius_mm);
void gradient_in_double(const Chain<double>& chain, int last, const Reading<double>& reading,
                        ArtefactKind kind, const Place<double>& place, GapGradient<double>& result);
void gradient_in_float(const Chain<float>& chain, int last, const Reading<float>& reading,
                       ArtefactKind kind, const Place<float>& place, GapGradient<float>& result);
void stand(Chain<float>& chain, const float* cosines, const float* sines);

double gap_in_double(const Chain<double>& chain, int last, const Reading<double>& reading,
                     ArtefactKind kind, const Place<double>& place, double stylus_radius_mm) {
  return gap_of(chain, last, reading, kind, place, stylus_radius_mm);
}

float gap_in_float(const Chain<float>& chain, int last, const Reading<float>& reading,
                   ArtefactKind kind, const Place<float>& place, float stylus_radius_mm) {
  return gap_of(chain, last, reading, kind, place, stylus_radius_mm);
}

void gradient_in_double(const Chain<double>& chain, int last, const Reading<double>& reading,
                        ArtefactKind kind, const Place<double>& place,
                        GapGradient<double>& result) {
  result = gap_gradient(chain, last, reading, kind, place, 3.0);
}

void gradient_in_float(const Chain<float>& chain, int last, const Reading<float>& reading,
                       ArtefactKind kind, const Place<float>& place, GapGradient<float>& result) {
  result = gap_gradient(chain, last, reading, kind, place, 3.0F);
}

void stand(Chain<float>& chain, const float* cosines, const float* sines) {
  for (int k = 0; k < chain.count; ++k) chain.axes[k].stand_at(cosines[k], sines[k]);
}

}  // namespace pivotrace::contact
