// The OpenGL 3.3 core functions the stage uses, looked up at run time.
#pragma once

#include <GL/glcorearb.h>

#include <functional>
#include <string>

namespace understudy {

// name, type suffix as in glcorearb.h
#define UNDERSTUDY_GL_FUNCTIONS(F)                                                                                                        \
  F(ActiveTexture, ACTIVETEXTURE) F(AttachShader, ATTACHSHADER) F(BindAttribLocation, BINDATTRIBLOCATION) F(BindBuffer, BINDBUFFER)      \
  F(BindFragDataLocation, BINDFRAGDATALOCATION) F(BindFramebuffer, BINDFRAMEBUFFER) F(BindRenderbuffer, BINDRENDERBUFFER)                \
  F(BindTexture, BINDTEXTURE) F(BindVertexArray, BINDVERTEXARRAY) F(BlendFunc, BLENDFUNC) F(BlendFuncSeparate, BLENDFUNCSEPARATE)        \
  F(BlitFramebuffer, BLITFRAMEBUFFER) F(BufferData, BUFFERDATA) F(BufferSubData, BUFFERSUBDATA)                                          \
  F(CheckFramebufferStatus, CHECKFRAMEBUFFERSTATUS) F(Clear, CLEAR) F(ClearColor, CLEARCOLOR) F(ClearDepth, CLEARDEPTH)                  \
  F(ColorMask, COLORMASK) F(CompileShader, COMPILESHADER) F(CreateProgram, CREATEPROGRAM) F(CreateShader, CREATESHADER)                  \
  F(CullFace, CULLFACE) F(DeleteBuffers, DELETEBUFFERS) F(DeleteFramebuffers, DELETEFRAMEBUFFERS) F(DeleteProgram, DELETEPROGRAM)        \
  F(DeleteRenderbuffers, DELETERENDERBUFFERS) F(DeleteShader, DELETESHADER) F(DeleteTextures, DELETETEXTURES)                            \
  F(DeleteVertexArrays, DELETEVERTEXARRAYS) F(DepthFunc, DEPTHFUNC) F(DepthMask, DEPTHMASK) F(Disable, DISABLE)                          \
  F(DrawArrays, DRAWARRAYS) F(DrawArraysInstanced, DRAWARRAYSINSTANCED) F(DrawElements, DRAWELEMENTS) F(Enable, ENABLE)                  \
  F(EnableVertexAttribArray, ENABLEVERTEXATTRIBARRAY) F(Finish, FINISH) F(FramebufferRenderbuffer, FRAMEBUFFERRENDERBUFFER)              \
  F(FrontFace, FRONTFACE) F(GenBuffers, GENBUFFERS) F(GenFramebuffers, GENFRAMEBUFFERS) F(GenRenderbuffers, GENRENDERBUFFERS)            \
  F(GenTextures, GENTEXTURES) F(GenVertexArrays, GENVERTEXARRAYS) F(GenerateMipmap, GENERATEMIPMAP) F(GetError, GETERROR)                \
  F(GetIntegerv, GETINTEGERV) F(GetProgramInfoLog, GETPROGRAMINFOLOG) F(GetProgramiv, GETPROGRAMIV)                                      \
  F(GetShaderInfoLog, GETSHADERINFOLOG) F(GetShaderiv, GETSHADERIV) F(GetString, GETSTRING)                                              \
  F(GetUniformLocation, GETUNIFORMLOCATION) F(LinkProgram, LINKPROGRAM) F(PixelStorei, PIXELSTOREI) F(ReadPixels, READPIXELS)            \
  F(RenderbufferStorage, RENDERBUFFERSTORAGE) F(RenderbufferStorageMultisample, RENDERBUFFERSTORAGEMULTISAMPLE)                          \
  F(Scissor, SCISSOR) F(ShaderSource, SHADERSOURCE) F(TexBuffer, TEXBUFFER) F(TexImage2D, TEXIMAGE2D) F(TexParameteri, TEXPARAMETERI)    \
  F(Uniform1f, UNIFORM1F) F(Uniform1i, UNIFORM1I) F(Uniform2f, UNIFORM2F) F(Uniform3f, UNIFORM3F) F(Uniform4f, UNIFORM4F)                \
  F(UniformMatrix4fv, UNIFORMMATRIX4FV) F(UseProgram, USEPROGRAM) F(VertexAttribDivisor, VERTEXATTRIBDIVISOR)                            \
  F(VertexAttribIPointer, VERTEXATTRIBIPOINTER) F(VertexAttribPointer, VERTEXATTRIBPOINTER) F(Viewport, VIEWPORT)

struct Gl {
#define UNDERSTUDY_GL_DECLARE(name, type) PFNGL##type##PROC name = nullptr;
  UNDERSTUDY_GL_FUNCTIONS(UNDERSTUDY_GL_DECLARE)
#undef UNDERSTUDY_GL_DECLARE

  /// Looks all functions up; the name of the first one missing, empty when all are there.
  [[nodiscard]] std::string load(const std::function<void*(const char*)>& getProcAddress);
};

}  // namespace understudy
